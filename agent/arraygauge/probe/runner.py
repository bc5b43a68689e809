"""One burst on one device, from request to measurement, whatever the device does."""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path
from statistics import fmean, quantiles

from arraygauge.probe.process import Child, Conversation, Ending
from arraygauge.probe.quarantine import Quarantine
from arraygauge.probe.reasons import explain, outcome_of
from arraygauge.probe.reply import Reply, ReplyError, parse_reply
from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import Measurement, Outcome, ProbeRequest, Route
from arraygauge.theory.values import Access, Direction
from arraygauge.units import SECTOR_BYTES

CHILD_COMMAND = (sys.executable, "-I", "-S", str(Path(__file__).with_name("child.py")))


class Prober:
    """Runs probes until ``stop`` is set; never two on a device whose last one still hangs.

    ``run`` may be called from several threads at once, for different devices; each
    thread must live on until its call returns.
    """

    def __init__(self, stop: StopToken, command: tuple[str, ...] = CHILD_COMMAND) -> None:
        self.stop = stop
        self.quarantine = Quarantine()
        self._command = command

    def run(self, request: ProbeRequest) -> Measurement:
        """Read as asked, for ``request.deadline_seconds`` and a second more at the very most.

        Whatever the device does is an outcome. Raises ValueError for a request that
        makes no sense on any device.
        """
        _check_sense(request)
        nothing = _nothing_read(request)
        pid = self.quarantine.stuck().get(request.device)
        if pid is not None:
            detail = (
                f"{request.device}: process {pid} of an earlier probe still hangs in the kernel, "
                "and a second one would hang too; check the drive, its cable and the kernel log"
            )
            return replace(nothing, outcome=Outcome.REFUSED, detail=detail)
        if self.stop.is_set():
            detail = f"{request.device}: told to stop before it was read"
            return replace(nothing, outcome=Outcome.INTERRUPTED, detail=detail)
        return self._read(request, nothing)

    def _read(self, request: ProbeRequest, nothing: Measurement) -> Measurement:
        try:
            child = Child(self._command)
        except OSError as error:
            detail = f"{request.device}: the reading process could not be started: {error}"
            return replace(nothing, detail=detail)
        talk = child.talk(_wire(request), self.stop, request.deadline_seconds)
        ended = replace(nothing, seconds=talk.seconds, bytes_read=talk.bytes_read)
        if talk.exit_status is None:
            self.quarantine.add(request.device, child.process)
            detail = (
                f"{request.device}: reading {request.path} hangs in the kernel (process "
                f"{child.process.pid}, which cannot be ended); it is left alone until that ends: "
                "check the drive, its cable and power, and the kernel log"
            )
            return replace(ended, outcome=Outcome.ABANDONED, detail=detail)
        return _conclude(request, talk, ended)


def _check_sense(request: ProbeRequest) -> None:
    workload = request.workload
    sensible = {
        "a device number for a raw read": request.route is Route.FILE or request.number is not None,
        "only reads": workload.direction is Direction.READ,
        "transfers of whole sectors": workload.transfer_bytes >= SECTOR_BYTES
        and workload.transfer_bytes % SECTOR_BYTES == 0,
        "at least one transfer in flight for each stream": 1
        <= workload.streams
        <= workload.queue_depth,
        "somewhere to read": bool(request.extents),
        "time beyond the warm-up": request.seconds > request.warm_up_seconds * len(request.extents),
    }
    lacking = [demand for demand, met in sensible.items() if not met]
    if lacking:
        raise ValueError(f"a probe needs {', '.join(lacking)}: {request}")


def _wire(request: ProbeRequest) -> dict[str, object]:
    """What the child reads on its standard input; sizes in bytes, times in seconds.

    ``seed`` decides the order of random places, new each time so that no cache
    learns it. ``Child`` adds who the parent is and where to count bytes.
    """
    return {
        "path": request.path,
        "number": request.number if request.route is Route.RAW else None,
        "random": request.workload.access is Access.RANDOM,
        "seed": time.time_ns() % 2**32,
        "transfer_bytes": request.workload.transfer_bytes,
        "queue_depth": request.workload.queue_depth,
        "streams": request.workload.streams,
        "extents": [(extent.start_bytes, extent.length_bytes) for extent in request.extents],
        "warm_up_seconds": request.warm_up_seconds,
        "seconds": request.seconds,
        "max_bytes": request.max_bytes,
    }


def _nothing_read(request: ProbeRequest) -> Measurement:
    return Measurement(
        device=request.device,
        route=request.route,
        path=request.path,
        workload=request.workload,
        outcome=Outcome.CRASHED,
        detail=None,
        started_at_seconds=time.time(),
        seconds=0.0,
        bytes_read=0,
        zero_bytes=0,
        bytes_per_second=None,
        low_bytes_per_second=None,
        high_bytes_per_second=None,
        latency=None,
        places=(),
    )


def _conclude(request: ProbeRequest, talk: Conversation, ended: Measurement) -> Measurement:
    read = f"{request.device}: {talk.bytes_read} bytes were read from {request.path}"
    if talk.ending is Ending.STOPPED:
        return replace(ended, outcome=Outcome.INTERRUPTED, detail=f"{read} when told to stop")
    if talk.ending is Ending.OVERDUE:
        detail = f"{read}, and then it gave no answer within {request.deadline_seconds:g} s"
        return replace(ended, outcome=Outcome.TIMED_OUT, detail=detail)
    try:
        reply = parse_reply(talk.answer)
        if reply.bytes_read > request.max_bytes:
            raise ReplyError(f"it says it read {reply.bytes_read} bytes, more than it was allowed")
    except ReplyError as error:
        return replace(ended, outcome=Outcome.CRASHED, detail=_crash(request, talk, error))
    return _measured(request, reply, ended)


def _crash(request: ProbeRequest, talk: Conversation, error: ReplyError) -> str:
    last_words = talk.complaint.splitlines()[-1:] or [f"no valid answer ({error})"]
    return (
        f"{request.device}: the reading process failed with exit status {talk.exit_status}: "
        f"{last_words[0][:300]}"
    )


def _measured(request: ProbeRequest, reply: Reply, ended: Measurement) -> Measurement:
    rates = [place.bytes_per_second for place in reply.places if place.seconds]
    low, high = _middle_half(reply.slices)
    return replace(
        ended,
        outcome=outcome_of(reply),
        detail=explain(request, reply),
        seconds=reply.seconds,
        bytes_read=reply.bytes_read,
        zero_bytes=reply.zero_bytes,
        bytes_per_second=fmean(rates) if any(rates) else None,
        low_bytes_per_second=low,
        high_bytes_per_second=high,
        latency=reply.latency,
        places=reply.places,
    )


def _middle_half(rates: tuple[float, ...]) -> tuple[float | None, float | None]:
    """Lower and upper quartile."""
    if len(rates) < 2:
        return (rates[0], rates[0]) if rates else (None, None)
    low, _, high = quantiles(rates, n=4, method="inclusive")
    return low, high
