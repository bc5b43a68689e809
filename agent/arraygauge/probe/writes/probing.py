"""One write probe, from request to measurement, whatever the device does.

Writes go to the agent's own file on a filesystem that sits on the device, by a child
(``children.writing``); no device is ever opened for writing.
"""

from __future__ import annotations

import time
from dataclasses import replace

from arraygauge.probe.filesystems import notes_on
from arraygauge.probe.hosted import filesystem_at
from arraygauge.probe.own_file import no_place
from arraygauge.probe.process import Lookout
from arraygauge.probe.runner import Prober
from arraygauge.probe.writes.cliff import find_cliff, rate_of
from arraygauge.probe.writes.reasons import explain_write, outcome_of_write
from arraygauge.probe.writes.reply import WriteReply, WriteStep
from arraygauge.probe.writes.talk import (
    TOLD_TO_STOP,
    WRITING,
    Told,
    ask,
    making_seconds,
    question,
)
from arraygauge.probe.writes.values import (
    ALIGNMENT_BYTES,
    WriteMeasurement,
    WriteOutcome,
    WriteRequest,
)


def probe_write(
    prober: Prober,
    request: WriteRequest,
    lookout: Lookout | None = None,
    command: tuple[str, ...] = WRITING,
) -> WriteMeasurement:
    """Make or find the own file and write over it, until ``lookout`` says to give way.

    Never more than ``request.max_bytes`` are written. Whatever the device does is an
    outcome. Raises ValueError for a request that makes no sense on any device.
    """
    _check_sense(request)
    began = time.time()
    making = making_seconds(request.whole_file_bytes)
    told = ask(
        prober,
        request.device,
        _question(request),
        deadline_seconds=making + request.longest_seconds + request.grace_seconds,
        threads=request.queue_depth,
        lookout=lookout,
        command=command,
    )
    plain = WriteMeasurement(
        device=request.device,
        outcome=told.outcome,
        detail=f"{request.device}: {told.detail}",
        workload=request.workload,
        started_at_seconds=began,
        seconds=told.seconds,
        bytes_written=told.written_bytes,
        filled_bytes=0,
    )
    if told.reply is None:
        return plain
    return _measured(request, told, told.reply, plain)


def _check_sense(request: WriteRequest) -> None:
    transfer = request.transfer_bytes
    sensible = {
        f"transfers of whole {ALIGNMENT_BYTES} bytes": transfer > 0
        and transfer % ALIGNMENT_BYTES == 0,
        "a file of one transfer at least": request.whole_file_bytes >= transfer,
        "a transfer in flight": request.queue_depth >= 1,
        "time to write": request.longest_seconds > 0,
        "bytes that are not negative": min(request.burst_bytes, request.max_bytes) >= 0,
    }
    lacking = [demand for demand, met in sensible.items() if not met]
    if lacking:
        raise ValueError(f"a write probe needs {', '.join(lacking)}: {request}")


def _question(request: WriteRequest) -> dict[str, object]:
    return question(
        request.directories,
        request.filesystems,
        request.whole_file_bytes,
        write=True,
        transfer_bytes=request.transfer_bytes,
        queue_depth=request.queue_depth,
        burst_bytes=request.burst_bytes,
        max_bytes=request.max_bytes,
        longest_seconds=request.longest_seconds,
        keep=request.keep_file,
    )


def _measured(
    request: WriteRequest, told: Told, reply: WriteReply, plain: WriteMeasurement
) -> WriteMeasurement:
    burst_bytes = reply.written - reply.filled
    hosted = filesystem_at(request.filesystems, reply.device)
    flushed = reply.seconds + reply.flush_seconds if reply.flush_seconds else 0.0
    outcome, detail = _ended(request, told, reply)
    return replace(
        plain,
        outcome=outcome,
        detail=f"{request.device}: {detail}" if detail is not None else None,
        bytes_written=max(reply.written, told.written_bytes),
        filled_bytes=reply.filled,
        bytes_per_second=rate_of(reply.slices),
        flushed_bytes_per_second=burst_bytes / flushed if flushed and burst_bytes else None,
        cliff=find_cliff(reply.slices),
        path=f"{reply.folder}/{reply.name}" if reply.folder else None,
        filesystem=hosted.mount.filesystem if hosted else None,
        file_kept=reply.kept,
        notes=notes_on(hosted.mount, reply.in_place) if hosted else (),
    )


def _ended(request: WriteRequest, told: Told, reply: WriteReply) -> tuple[WriteOutcome, str | None]:
    outcome = outcome_of_write(reply)
    if outcome is WriteOutcome.INTERRUPTED and told.gave_way not in (None, TOLD_TO_STOP):
        return WriteOutcome.GAVE_WAY, f"gave way: {told.gave_way}"
    if outcome is WriteOutcome.COMPLETED:
        return (WriteOutcome.BUDGET_SPENT if _spent(request, reply) else outcome), None
    if reply.step is WriteStep.PLACE:
        return outcome, no_place(reply, request.filesystems, "write_probe.directories")
    return outcome, explain_write(reply, request.transfer_bytes)


def _spent(request: WriteRequest, reply: WriteReply) -> bool:
    """Whether the limit on bytes ended it, before the burst was whole or its time over."""
    size = request.transfer_bytes
    allowed = (request.max_bytes - reply.filled) // size
    return reply.written - reply.filled >= allowed * size and allowed < request.burst_bytes // size
