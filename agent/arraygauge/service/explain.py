"""The derivation of an array's expectation, reads and writes, for `arraygauge explain`."""

from __future__ import annotations

from dataclasses import dataclass

from arraygauge.errors import UnknownDeviceError
from arraygauge.inventory.host import read_host
from arraygauge.inventory.values import Array, Host
from arraygauge.judge import expected_rates
from arraygauge.service.grounds import grounds_of
from arraygauge.service.survey import Progress, Surveyor
from arraygauge.theory import Derivation, Workload, derive, model_array


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """One derivation a workload; None where a member's rate in that direction is not known."""

    host: Host
    array: Array
    derivations: tuple[tuple[Workload, Derivation | None], ...]


def explain(
    surveyor: Surveyor, name: str, workloads: tuple[Workload, ...], progress: Progress
) -> Explanation:
    """Measure the members that have no rating, and derive. UnknownDeviceError for no such array."""
    host = read_host()
    array = host.array(name.removeprefix("/dev/"))
    if array is None:
        known = ", ".join(each.name for each in host.arrays) or "none"
        raise UnknownDeviceError(f"{name}: this machine has no such array", f"it has {known}")
    attempts = surveyor.measure_members(host, array, progress)
    grounds = grounds_of(surveyor.configuration, host)
    rates = expected_rates(host, array, attempts, grounds)
    derivations = []
    for workload in workloads:
        model = model_array(host, array, rates, grounds.board, workload.direction)
        derivations.append((workload, derive(model, workload) if model is not None else None))
    return Explanation(host=host, array=array, derivations=tuple(derivations))
