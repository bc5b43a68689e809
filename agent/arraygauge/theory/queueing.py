"""Queueing networks: bounds and exact mean value analysis.

A closed network holds ``customers`` transfers in flight. Each visits the stations
with a total service demand D_i seconds, then spends ``think_seconds`` (Z) outside
them. Two pairs of bounds need only D_max, the sum D and the mean D_avg:

* asymptotic: X <= min(1 / D_max, N / (D + Z)); R >= max(D, N * D_max - Z)
  (Jain, The Art of Computer Systems Performance Analysis, 1991, box 33.1);
* balanced jobs: the same network with all demands equal to D_avg is the fastest,
  with as many equal to D_max as fit the slowest (Zahorjan et al., CACM 25(2), 1982).

Exact mean value analysis (Reiser and Lavenberg, JACM 27(2), 1980) gives the
throughput itself, from the arrival theorem: a transfer sees the queue that the
network would have with one transfer fewer.
"""

from __future__ import annotations

from collections.abc import Sequence

from arraygauge.values import frozen


@frozen
class Operating:
    """The network with some number of customers in it."""

    customers: int
    throughput_per_second: float
    response_seconds: float
    queue_lengths: tuple[float, ...]
    """Mean number at each station, those in service included."""


def asymptotic_throughput(
    demands: Sequence[float], customers: int, think_seconds: float = 0.0
) -> float:
    """The most the network can complete each second."""
    return min(1 / max(demands), customers / (sum(demands) + think_seconds))


def asymptotic_response(
    demands: Sequence[float], customers: int, think_seconds: float = 0.0
) -> float:
    """The least a customer waits and is served for, in seconds."""
    return max(sum(demands), customers * max(demands) - think_seconds)


def knee(demands: Sequence[float], think_seconds: float = 0.0) -> float:
    """The number of customers from which the bottleneck, not the latency, sets the pace."""
    return (sum(demands) + think_seconds) / max(demands)


def balanced_bounds(
    demands: Sequence[float], customers: int, think_seconds: float = 0.0
) -> tuple[float, float]:
    """(least, most) throughput per second by balanced jobs, within the asymptotic ones."""
    total, largest = sum(demands), max(demands)
    mean = total / len(demands)
    away = total + think_seconds
    others = customers - 1
    least = customers / (away + others * largest * _met(others, total, think_seconds, customers))
    most = customers / (away + others * mean * total / away)
    return least, min(most, 1 / largest)


def _met(others: int, total: float, think_seconds: float, customers: int) -> float:
    """Share of the other customers met at the stations rather than thinking."""
    if not think_seconds or not others:
        return 1.0
    return customers * total / (customers * total + think_seconds)


def mean_value_analysis(
    demands: Sequence[float], customers: int, think_seconds: float = 0.0
) -> tuple[Operating, ...]:
    """The network with 1, 2, … ``customers`` in it, exactly.

    Takes customers times stations steps. Raises ValueError without customers or demand.
    """
    if customers < 1 or sum(demands) + think_seconds <= 0:
        raise ValueError("mean value analysis needs a customer and some demand")
    queues = [0.0] * len(demands)
    points = []
    for number in range(1, customers + 1):
        residences = [demand * (1 + queue) for demand, queue in zip(demands, queues, strict=True)]
        response = sum(residences)
        throughput = number / (response + think_seconds)
        queues = [throughput * residence for residence in residences]
        points.append(
            Operating(
                customers=number,
                throughput_per_second=throughput,
                response_seconds=response,
                queue_lengths=tuple(queues),
            )
        )
    return tuple(points)
