"""Findings on drives that do not answer, and on what several of them have in common."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from arraygauge.inventory.values import Host
from arraygauge.judge.findings import Cause, Finding, Matter, Observation, Origin, Severity
from arraygauge.judge.passive.hangs import HangWatch, frames_lost
from arraygauge.judge.passive.hung_path import STOPS_AFTER_SECONDS
from arraygauge.judge.passive.scope import Body, Scope, link_cause, link_causes
from arraygauge.judge.passive.values import Stall
from arraygauge.judge.passive.watch import Watched
from arraygauge.values import frozen

SPINS_UP_SECONDS = 30.0
"""A turning drive that had stopped may take that long to start (common practice, no published
source)."""


@frozen
class HangFacts:
    """How long a drive, or all that work of the ``drives`` behind a link, has not answered, or in
    all once it is ``over``. ``frames`` should have been shown meanwhile. ``rested_seconds`` it
    had done nothing before; ``may_spin_up``: this may be the start of a drive that had stopped.
    """

    name: str
    drives: tuple[str, ...]
    seconds: float
    error_seconds: float
    in_flight: int
    frames: float
    frames_per_second: float
    rested_seconds: float
    may_spin_up: bool
    over: bool


@frozen
class _Hang:
    """One hang to tell of: a drive's, or that of several behind one link."""

    cause: Cause
    bodies: tuple[Body, ...]
    stall: Stall


def observe_hangs(host: Host, watched: Iterable[Watched], frames_per_second: float) -> Observation:
    """Drives and paths that do not answer. It speaks for every drive whose counters were read,
    and for the links they share."""
    found: dict[str, Finding] = {}
    spoken: set[str] = set()
    for each in watched:
        scope, watch = each
        bodies = dict(scope.bodies)
        spoken |= {
            body.stable_id
            for hang in watch.hangs
            if hang.counters is not None and (body := bodies.get(hang.device)) is not None
        }
        spoken |= {cause for peers in scope.groups for cause in link_causes(peers)}
        for hang in _hangs(host, each):
            made = _finding(scope, hang, frames_per_second)
            found[hang.cause.stable_id] = _joined(found.get(hang.cause.stable_id), made)
    return Observation(
        origin=Origin.PASSIVE,
        findings=tuple(found.values()),
        looked_at=frozenset(spoken),
        matters=frozenset({Matter.DEVICE_HANGS}),
    )


def _hangs(host: Host, watched: Watched) -> Iterator[_Hang]:
    """Of a member that is made of drives nothing is said: they are watched themselves."""
    scope, watch = watched
    bodies = {name: body for name, body in scope.bodies if body.is_drive}
    told = [each for each in watch.hangs if each.hang is not None and each.device in bodies]
    path = watch.hung_path
    behind = [each for each in told if path is not None and each.device in path.members]
    if path is not None and len(behind) >= 2:
        link = host.link(path.link)
        yield _Hang(
            cause=Cause(
                stable_id=link_cause(path.link), name=path.link if link is None else link.name
            ),
            bodies=tuple(bodies[each.device] for each in behind),
            stall=_together(behind),
        )
        told = [each for each in told if each not in behind]
    for each in told:
        body = bodies[each.device]
        if each.hang is not None:
            cause = Cause(stable_id=body.stable_id, name=body.name)
            yield _Hang(cause=cause, bodies=(body,), stall=each.hang)


def _together(hangs: Iterable[HangWatch]) -> Stall:
    """The longest that goes on, or of those that are over."""
    stalls = [each.hang for each in hangs if each.hang is not None]
    open_ones = [stall for stall in stalls if not stall.over] or stalls
    longest = max(open_ones, key=lambda stall: stall.seconds)
    return replace(longest, in_flight=sum(stall.in_flight for stall in open_ones))


def _finding(scope: Scope, hang: _Hang, frames_per_second: float) -> Finding:
    stall = hang.stall
    may_spin_up = (
        any(body.turns for body in hang.bodies)
        and stall.rested_seconds >= STOPS_AFTER_SECONDS
        and stall.seconds <= SPINS_UP_SECONDS
    )
    return Finding(
        origin=Origin.PASSIVE,
        cause=hang.cause,
        matter=Matter.DEVICE_HANGS,
        severity=Severity.MINOR if stall.over or may_spin_up else Severity.MAJOR,
        arrays=(scope.array_name,),
        signature=f"hung {stall.milliseconds} ms" if stall.over else "hangs",
        facts=HangFacts(
            name=hang.cause.name,
            drives=tuple(body.name for body in hang.bodies),
            seconds=stall.seconds,
            error_seconds=stall.error_seconds,
            in_flight=stall.in_flight,
            frames=frames_lost(stall.seconds, frames_per_second),
            frames_per_second=frames_per_second,
            rested_seconds=stall.rested_seconds,
            may_spin_up=may_spin_up,
            over=stall.over,
        ),
    )


def _joined(other: Finding | None, finding: Finding) -> Finding:
    """A drive whose partitions are in several arrays, or a link of several, hangs once."""
    if other is None:
        return finding
    return replace(finding, arrays=tuple(dict.fromkeys((*other.arrays, *finding.arrays))))
