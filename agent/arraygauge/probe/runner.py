"""One burst on one device, from request to result, whatever the device does."""

from __future__ import annotations

import sys
import time
from dataclasses import asdict, replace
from pathlib import Path

import arraygauge
from arraygauge.inventory.temperature import parse_temperature
from arraygauge.probe.own_probes import OwnProbes
from arraygauge.probe.process import Child, Conversation, Ending, Lookout
from arraygauge.probe.quarantine import Quarantine
from arraygauge.probe.reasons import explain, outcome_of
from arraygauge.probe.reply import Reply, ReplyError, parse_reply
from arraygauge.probe.stop import StopToken
from arraygauge.probe.suspension import NOTICED_SECONDS, Seconds, suspended_seconds
from arraygauge.probe.values import Burst, Outcome, ProbeRequest, Route
from arraygauge.theory.values import Access, Direction
from arraygauge.units import SECTOR_BYTES


def child_command(module: str) -> tuple[str, ...]:
    """How to start a module of ``children``: isolated, and without site-packages, whose
    import would take longer than the rest."""
    start = f"import sys; sys.path.insert(0, sys.argv[1]); from {module} import main; main()"
    return (sys.executable, "-I", "-S", "-c", start, str(Path(arraygauge.__path__[0]).parent))


READING = child_command("arraygauge.probe.children.reading")


class Prober:
    """Runs probes until ``stop`` is set; never two on a device whose last one still hangs.

    ``run`` may be called from several threads at once, for different devices; each
    thread must live on until its call returns.
    """

    def __init__(
        self,
        stop: StopToken,
        command: tuple[str, ...] = READING,
        suspended: Seconds = suspended_seconds,
    ) -> None:
        self.stop = stop
        self.suspended = suspended
        self.quarantine = Quarantine()
        self.own_probes = OwnProbes()
        self._command = command

    def run(self, request: ProbeRequest, lookout: Lookout | None = None) -> Burst:
        """Read as asked, for ``request.deadline_seconds`` and a second more at the very most;
        until ``lookout`` says to give way.

        Whatever the device does is an outcome. Raises ValueError for a request that
        makes no sense on any device.
        """
        _check_sense(request)
        nothing = _nothing_read()
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
        slept = self.suspended()
        with self.own_probes.on(request.device):
            burst = self._read(request, nothing, lookout)
        if self.suspended() - slept > NOTICED_SECONDS:
            return _across_a_sleep(request, burst)
        return burst

    def _read(self, request: ProbeRequest, nothing: Burst, lookout: Lookout | None) -> Burst:
        try:
            meeting = request.meeting
            fds = (meeting.descriptor,) if meeting is not None else ()
            child = Child(self._command, request.workload.queue_depth, fds)
        except OSError as error:
            detail = f"{request.device}: the reading process could not be started: {error}"
            return replace(nothing, detail=detail)
        talk = child.talk(_wire(request), self.stop, request.deadline_seconds, lookout)
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
        "time to count": request.place_seconds > 0,
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
        "settle_seconds": request.settle_seconds,
        "place_seconds": request.place_seconds,
        "longest_seconds": request.longest_seconds,
        "in_flight_seconds": request.in_flight_seconds,
        "meeting": asdict(request.meeting) if request.meeting is not None else None,
        "max_bytes": request.max_bytes,
        "temperature_file": request.temperature_file,
        "hottest_celsius": request.hottest_celsius,
    }


def _nothing_read() -> Burst:
    return Burst(
        outcome=Outcome.CRASHED,
        detail=None,
        started_at_seconds=time.time(),
        seconds=0.0,
        bytes_read=0,
        places=(),
        latency=None,
        temperature_celsius=None,
    )


def _across_a_sleep(request: ProbeRequest, burst: Burst) -> Burst:
    """Whatever came of it: a drive that is being woken is slow, late or silent, and not ill."""
    detail = f"{request.device}: the machine was suspended meanwhile, which says nothing of it"
    return replace(burst, outcome=Outcome.SUSPENDED, detail=detail, places=(), latency=None)


def _conclude(request: ProbeRequest, talk: Conversation, ended: Burst) -> Burst:
    read = f"{request.device}: {talk.bytes_read} bytes were read from {request.path}"
    if talk.ending is Ending.STOPPED:
        return replace(ended, outcome=Outcome.INTERRUPTED, detail=f"{read} when told to stop")
    if talk.ending is Ending.OVERDUE:
        if talk.gave_way is not None:  # a slow drive's queue drains slowly: no hang yet
            detail = f"{request.device}: gave way ({talk.gave_way}), and was ended meanwhile"
            return replace(ended, outcome=Outcome.GAVE_WAY, detail=detail)
        detail = f"{read}, and then it gave no answer within {request.deadline_seconds:g} s"
        return replace(ended, outcome=Outcome.TIMED_OUT, detail=detail)
    try:
        reply = parse_reply(talk.answer)
        if reply.bytes_read > request.max_bytes:
            raise ReplyError(f"it says it read {reply.bytes_read} bytes, more than it was allowed")
    except ReplyError as error:
        return replace(ended, outcome=Outcome.CRASHED, detail=_crash(request, talk, error))
    return _measured(request, talk, reply, ended)


def _crash(request: ProbeRequest, talk: Conversation, error: ReplyError) -> str:
    last_words = talk.complaint.splitlines()[-1:] or [f"no valid answer ({error})"]
    return (
        f"{request.device}: the reading process failed with exit status {talk.exit_status}: "
        f"{last_words[0][:300]}"
    )


def _measured(request: ProbeRequest, talk: Conversation, reply: Reply, ended: Burst) -> Burst:
    outcome, detail = outcome_of(reply), explain(request, reply)
    if talk.gave_way is not None and outcome in (Outcome.COMPLETED, Outcome.BUDGET_SPENT):
        outcome, detail = Outcome.GAVE_WAY, f"{request.device}: gave way: {talk.gave_way}"
    return replace(
        ended,
        outcome=outcome,
        detail=detail,
        seconds=reply.seconds,
        bytes_read=reply.bytes_read,
        places=reply.places,
        latency=reply.latency,
        progress=reply.progress,
        temperature_celsius=_temperature(reply.temperature),
    )


def _temperature(text: str | None) -> float | None:
    try:
        return parse_temperature(text) if text is not None else None
    except ValueError:
        return None  # the sensor answered nonsense, which is the kernel's word for having none
