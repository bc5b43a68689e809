"""Several devices read at the same time, each by its own child, begun at one moment."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterable, Mapping
from dataclasses import replace

from arraygauge.probe.process import Lookout
from arraygauge.probe.runner import Prober
from arraygauge.probe.values import Burst, ProbeRequest

START_UP_SECONDS = 0.25
"""From now until all children have started and wait for the moment."""


def read_together(
    prober: Prober, requests: Iterable[ProbeRequest], lookouts: Mapping[str, Lookout]
) -> dict[str, Burst]:
    """Each request's burst, by device. Those that have a lookout give way by it."""
    start = time.perf_counter_ns() + round(START_UP_SECONDS * 1e9)
    together = [replace(request, start_at_nanoseconds=start) for request in requests]
    bursts: dict[str, Burst] = {}

    def read(request: ProbeRequest) -> None:
        bursts[request.device] = prober.run(request, lookouts.get(request.device))

    threads = [threading.Thread(target=read, args=(request,)) for request in together]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return bursts
