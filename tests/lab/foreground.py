"""Somebody's work in the guest, as the lab's tests start it; see ``foreground_reader``."""

from __future__ import annotations

import json
import signal
import sys
from dataclasses import dataclass
from typing import Any

from lab.command import Running
from lab.guest import Guest
from lab.host import HERE
from lab.machine import MIB

READY = "ready"


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """How something is read; ``bytes_per_second`` None: as fast as it can be."""

    path: str
    seconds: float
    transfer_bytes: int = MIB
    depth: int = 1
    bytes_per_second: float | None = None
    random: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantiles:
    """Of times, in seconds."""

    p50: float
    p99: float
    p999: float
    greatest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """How it went, at least two requests long; times by the guest's CLOCK_MONOTONIC.

    ``latency_seconds`` counts from the request, ``lag_seconds`` from when it was due.
    """

    failure: str | None
    requests: int
    bytes: int
    bytes_per_second: float
    latency_seconds: Quantiles
    lag_seconds: Quantiles
    started: float
    first: float
    last: float
    bytes_per_10_ms: tuple[int, ...]


class Foreground:
    """A reader in the guest, waiting for its signal to begin."""

    def __init__(self, guest: Guest, work: Work) -> None:
        """Returns when it only has to begin."""
        self._running = _start(guest, work)
        self._running.wait_for_output(READY)

    def begin(self) -> None:
        """Lets it begin; ``Report.started`` says when exactly it did."""
        self._running.signal(signal.SIGUSR1)

    def report(self, timeout_seconds: float = 120) -> Report:
        """How it went, once it has ended; LabError with its words when it could not work."""
        told: dict[str, Any] = json.loads(self._running.wait(timeout_seconds).checked().stdout)
        return Report(
            **told
            | {
                "latency_seconds": Quantiles(**told["latency_seconds"]),
                "lag_seconds": Quantiles(**told["lag_seconds"]),
                "bytes_per_10_ms": tuple(told["bytes_per_10_ms"]),
            }
        )


def read(guest: Guest, work: Work) -> Report:
    """Reads now, to the end."""
    foreground = Foreground(guest, work)
    foreground.begin()
    return foreground.report(work.seconds + 60)


def _start(guest: Guest, work: Work) -> Running:
    command = [sys.executable, "-I", "-S", str(HERE / "foreground_reader.py")]
    command += ["--path", work.path, "--seconds", str(work.seconds)]
    command += ["--transfer-bytes", str(work.transfer_bytes), "--depth", str(work.depth)]
    if work.bytes_per_second is not None:
        command += ["--rate", str(work.bytes_per_second)]
    if work.random:
        command += ["--random"]
    return guest.start(command)
