"""Several devices read at the same time, each by its own child, begun at one moment."""

from __future__ import annotations

import os
import threading
from collections.abc import Mapping, Sequence
from dataclasses import replace

from arraygauge.probe.process import Lookout
from arraygauge.probe.runner import Prober
from arraygauge.probe.values import Burst, Meeting, ProbeRequest


def read_together(
    prober: Prober, requests: Sequence[ProbeRequest], lookouts: Mapping[str, Lookout]
) -> dict[str, Burst]:
    """Each request's burst, by device. Those that have a lookout give way by it."""
    bursts: dict[str, Burst] = {}

    def read(request: ProbeRequest) -> None:
        bursts[request.device] = prober.run(request, lookouts.get(request.device))

    words = os.memfd_create("meeting")
    try:
        os.ftruncate(words, 8 * len(requests))
        threads = [
            threading.Thread(
                target=read,
                args=(
                    replace(
                        request,
                        meeting=Meeting(descriptor=words, place=place, count=len(requests)),
                    ),
                ),
            )
            for place, request in enumerate(requests)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    finally:
        os.close(words)
    return bursts
