"""Writing to and reading from the array that a trial has made, each by one child."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from contextlib import closing

from arraygauge.probe.centre import Centre, centre_of
from arraygauge.probe.process import Child, Conversation, Ending, OwnBytes
from arraygauge.probe.reply import Reply, ReplyError, Step, parse_reply
from arraygauge.probe.runner import Prober, child_command
from arraygauge.probe.stop import StopToken
from arraygauge.probe.trial.values import Mark, Permit
from arraygauge.probe.values import Extent, Outcome, PlaceRate, ProbeRequest, Route
from arraygauge.probe.wire import items, pair
from arraygauge.theory.values import Access, Direction, Workload
from arraygauge.values import frozen

WRITING = child_command("arraygauge.probe.children.trial_writing")
GRACE_SECONDS = 60.0
"""Beyond the time wanted, what a full queue and a flush may take on a slow drive."""
LOOK_SECONDS = 0.02


@frozen
class Work:
    """What is asked of an array at each of some places, in turn."""

    workload: Workload
    extents: tuple[Extent, ...]
    place_seconds: float
    warm_up_seconds: float
    settle_seconds: float
    max_bytes: int


@frozen
class Rate:
    """What one direction gave: a median over ``places`` and the interval it lies in, bytes per
    second; ``problem`` says why it is not to be had. ``moved_bytes`` counts all that was moved,
    ``written`` says what of each place was written without a gap."""

    centre: Centre | None
    problem: str | None
    seconds: float
    moved_bytes: int
    places: tuple[PlaceRate, ...] = ()
    written: tuple[Extent, ...] = ()
    interrupted: bool = False


def write(
    permit: Permit,
    prober: Prober,
    mark: Mark,
    work: Work,
    command: tuple[str, ...] = WRITING,
) -> Rate:
    """Write to the array that the permit is for. Raises ValueError for one that is spent."""
    if not permit.valid:
        raise ValueError(f"{permit.device}: its permit is spent")
    request = _wire(permit, work) | {"marks": list(mark.places)}
    child = Child(command, work.workload.queue_depth)
    with closing(StopToken()) as never:
        talk = child.talk(request, never, _deadline(work), _Manners(prober.stop))
    try:
        reply = parse_reply(talk.answer)
        pairs = [pair(each) for each in items(json.loads(talk.answer)["written"])]
    except (ReplyError, ValueError, TypeError, KeyError) as error:
        return _failed(talk, f"no valid answer ({error}) {talk.complaint[-200:]}")
    places = tuple(place for place in reply.places if place.seconds)
    centre = centre_of([(0.5, place.bytes_per_second) for place in places], may_slope=False)
    interrupted = prober.stop.is_set()
    return Rate(
        centre=None if interrupted else centre,
        problem=_problem(reply) or (None if centre else "too little was written to say"),
        seconds=reply.seconds,
        moved_bytes=max(reply.bytes_read, talk.bytes_read),
        places=places,
        written=tuple(Extent(start_bytes=at, length_bytes=size) for at, size in pairs),
        interrupted=interrupted,
    )


def read(permit: Permit, prober: Prober, work: Work) -> Rate:
    """Read what was written before; zeros are set aside, as no drive has to fetch them."""
    burst = prober.run(
        ProbeRequest(
            device=permit.device,
            route=Route.RAW,
            path=f"/dev/{permit.device}",
            number=permit.number,
            workload=work.workload,
            extents=work.extents,
            warm_up_seconds=work.warm_up_seconds,
            settle_seconds=work.settle_seconds,
            place_seconds=work.place_seconds,
            longest_seconds=_longest(work),
            max_bytes=work.max_bytes,
            deadline_seconds=_deadline(work),
        )
    )
    places = tuple(place for place in burst.places if place.seconds and not place.empty)
    centre = centre_of([(0.5, place.bytes_per_second) for place in places], may_slope=False)
    fine = burst.outcome in (Outcome.COMPLETED, Outcome.BUDGET_SPENT)
    return Rate(
        centre=centre if fine else None,
        problem=None if fine and centre else burst.detail or "nothing but zeros was read",
        seconds=burst.seconds,
        moved_bytes=burst.bytes_read,
        places=places,
        interrupted=burst.outcome is Outcome.INTERRUPTED,
    )


class _Manners:
    """Has the child stop by itself when the trial is to end: a kill would leave its last writes
    to the kernel, and the array busy for as long as they take."""

    interval_seconds = LOOK_SECONDS

    def __init__(self, stop: StopToken) -> None:
        self._stop = stop

    def look(self, own: OwnBytes) -> str | None:
        return "told to stop" if self._stop.is_set() else None


def _wire(permit: Permit, work: Work) -> dict[str, object]:
    workload = work.workload
    if workload.direction is not Direction.WRITE:
        raise ValueError("a trial writes what it says it writes")
    return {
        "path": f"/dev/{permit.device}",
        "number": permit.number,
        "random": workload.access is Access.RANDOM,
        "seed": 1,
        "transfer_bytes": workload.transfer_bytes,
        "queue_depth": workload.queue_depth,
        "streams": workload.streams,
        "extents": _pairs(work.extents),
        "warm_up_seconds": work.warm_up_seconds,
        "settle_seconds": work.settle_seconds,
        "place_seconds": work.place_seconds,
        "longest_seconds": _longest(work),
        "in_flight_seconds": None,
        "meeting": None,
        "max_bytes": work.max_bytes,
    }


def _pairs(extents: Sequence[Extent]) -> list[tuple[int, int]]:
    return [(extent.start_bytes, extent.length_bytes) for extent in extents]


def _longest(work: Work) -> float:
    """Every place has its time, and as much again where the array is slow to fill."""
    each = work.place_seconds + work.settle_seconds
    return 2 * (work.warm_up_seconds + each * len(work.extents))


def _deadline(work: Work) -> float:
    return 2 * _longest(work) + GRACE_SECONDS


def _problem(reply: Reply) -> str | None:
    if reply.step is Step.DONE:
        return None
    if reply.step is Step.CHECK:
        return reply.found
    where = f" at byte {reply.offset}" if reply.offset is not None else ""
    return f"writing failed{where}: {os.strerror(reply.number)}"


def _failed(talk: Conversation, otherwise: str) -> Rate:
    hung = talk.exit_status is None or talk.ending is Ending.OVERDUE
    problem = "writing hangs in the kernel; look at the kernel log" if hung else otherwise
    return Rate(centre=None, problem=problem, seconds=talk.seconds, moved_bytes=talk.bytes_read)
