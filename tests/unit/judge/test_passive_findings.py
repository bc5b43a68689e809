"""What the passive watch makes known: one finding for a cause, and only what it can speak for."""

from __future__ import annotations

from dataclasses import replace

import pytest

from arraygauge.inventory.counters import IoCounters, parse_stat
from arraygauge.inventory.values import Host, Level, Link, LinkKind
from arraygauge.judge.findings import Finding, Matter, Observation, Origin, Severity
from arraygauge.judge.incidents import IncidentBook, advance
from arraygauge.judge.passive import (
    Certainty,
    Grounds,
    HangFacts,
    PassiveWatch,
    Seen,
    SharedPath,
    SlowFacts,
    SlowMember,
    Stall,
    Unjudgeable,
    Unjudged,
    Watched,
    causes_watched,
    observe_hangs,
    observe_members,
    scopes_of,
    suspected,
    touched,
    watch_array,
)
from arraygauge.judge.passive.findings import SETTLED_LOOKS
from arraygauge.judge.passive.members import Look
from arraygauge.judge.state import Serving, observe_state
from arraygauge.theory.paths import Uplink
from invented import array, drive, host, member

NAMES = ("sda", "sdb", "sdc", "sdd")
PORT = Link(
    link_id="pci0/expander",
    kind=LinkKind.SAS,
    name="expander-0:1",
    negotiated=None,
    maximum=None,
    parent_id=None,
)


def machine(level: Level = Level.RAID5) -> Host:
    """Four members, the first two behind one link."""
    links = {"sda": (PORT.link_id,), "sdb": (PORT.link_id,)}
    drives = [drive(name, link_ids=links.get(name, ())) for name in NAMES]
    held = array(level, [member(name, slot) for slot, name in enumerate(NAMES)])
    return host([held], drives, [PORT])


def watched(on: Host, *seen: Seen, looks: int = SETTLED_LOOKS) -> list[Watched]:
    """All members judged often enough, with what was seen."""
    [scope] = scopes_of(on)
    watch = watch_array(scope.groups)
    look = Look(moment=100.0, enough=True, comparison=None, compared=looks)
    groups = tuple(
        replace(group, looks=dict.fromkeys(group.peers.members, look)) for group in watch.groups
    )
    return [(scope, replace(watch, groups=groups, seen=seen))]


def slow(name: str, certainty: Certainty = Certainty.ALARMED, ratio: float = 2.1) -> SlowMember:
    return SlowMember(
        name=name, certainty=certainty, grounds=Grounds.DEMAND, ratio=ratio, since_seconds=10.0
    )


def path(link: str | None, *members: str) -> SharedPath:
    return SharedPath(
        link=link,
        members=members,
        certainty=Certainty.ALARMED,
        grounds=Grounds.DEMAND,
        ratio=2.0,
        since_seconds=10.0,
    )


def stalled(watches: list[Watched], name: str, **changes: object) -> list[Watched]:
    """The same with a hang of one member."""
    [(scope, watch)] = watches
    plain = Stall(
        device=name,
        began_at_seconds=50.0,
        seconds=4.0,
        error_seconds=0.2,
        in_flight=3,
        rested_seconds=0.0,
        hang=True,
        over=False,
    )
    stall = replace(plain, **changes)  # type: ignore[arg-type]
    hangs = tuple(
        replace(each, stall=stall, ended=stall if stall.over else None)
        if each.device == name
        else each
        for each in watch.hangs
    )
    return [(scope, replace(watch, hangs=hangs))]


def only(observation: Observation) -> Finding:
    [finding] = observation.findings
    return finding


def test_an_alarmed_member_is_a_finding_on_its_drive_and_a_suspected_one_is_not() -> None:
    on = machine()
    finding = only(observe_members(on, watched(on, slow("sdc"))))
    assert (finding.origin, finding.matter) == (Origin.PASSIVE, Matter.SLOW_MEMBER)
    assert finding.cause.stable_id == "invented-sdc"
    assert finding.arrays == ("md0",)
    assert isinstance(finding.facts, SlowFacts)
    assert finding.facts.peers == ("sda", "sdb", "sdd")
    suspicion = watched(on, slow("sdc", Certainty.SUSPECTED))
    assert not observe_members(on, suspicion).findings
    assert suspected(suspicion[0][1])


@pytest.mark.parametrize(
    ("level", "ratio", "severity"),
    [
        (Level.RAID5, 2.1, Severity.MAJOR),
        (Level.RAID5, 1.7, Severity.MINOR),
        (Level.RAID1, 2.1, Severity.MINOR),
    ],
)
def test_a_member_that_halves_the_pace_of_a_stripe_is_worse(
    level: Level, ratio: float, severity: Severity
) -> None:
    on = machine(level)
    assert only(observe_members(on, watched(on, slow("sdc", ratio=ratio)))).severity is severity


def test_a_path_is_blamed_by_its_link_and_no_drive_is() -> None:
    on = machine()
    finding = only(observe_members(on, watched(on, path(PORT.link_id, "sda", "sdb"))))
    assert finding.matter is Matter.SLOW_PATH
    assert finding.cause.stable_id == "path pci0/expander"
    assert finding.cause.name == "expander-0:1"


def test_a_path_that_the_kernel_does_not_show_is_the_arrays() -> None:
    on = machine()
    finding = only(observe_members(on, watched(on, path(None, "sda", "sdc"))))
    assert finding.cause.stable_id == "path in invented-md0"
    assert finding.cause.name == "a path the kernel does not show"


def test_members_and_paths_that_were_judged_for_long_enough_are_spoken_for() -> None:
    on = machine()
    spoken = observe_members(on, watched(on)).looked_at
    assert spoken == frozenset(
        {
            *(f"invented-{name}" for name in NAMES),
            "path in invented-md0",
            "path pci0/expander",
        }
    )
    assert spoken == causes_watched(watched(on))
    assert not observe_members(on, watched(on, looks=SETTLED_LOOKS - 1)).looked_at


def test_of_a_member_with_too_little_to_do_nothing_is_said_nor_of_any_path() -> None:
    on = machine()
    idle = Unjudged(name="sdb", reason=Unjudgeable.TOO_LITTLE)
    spoken = observe_members(on, watched(on, idle)).looked_at
    assert spoken == frozenset({"invented-sda", "invented-sdc", "invented-sdd"})


def test_a_hang_is_told_of_the_drive_and_once_over_with_its_length_and_frames() -> None:
    on = machine()
    hanging = only(observe_hangs(on, stalled(watched(on), "sdb"), 25.0))
    assert (hanging.matter, hanging.severity) == (Matter.DEVICE_HANGS, Severity.MAJOR)
    over = only(observe_hangs(on, stalled(watched(on), "sdb", over=True, seconds=12.4), 25.0))
    assert over.severity is Severity.MINOR
    assert over.signature != hanging.signature
    assert isinstance(over.facts, HangFacts)
    assert over.facts.frames == pytest.approx(310.0)


def test_a_turning_drive_after_a_long_rest_may_be_starting_for_half_a_minute() -> None:
    held = array(Level.RAID1, [member("sda", 0), member("sdb", 1)])
    on = host([held], [drive("sda", rotational=True), drive("sdb", rotational=True)])
    rested = {"rested_seconds": 900.0}
    assert only(observe_hangs(on, stalled(watched(on), "sda", **rested), 25.0)).severity is (
        Severity.MINOR
    )
    late = stalled(watched(on), "sda", seconds=31.0, **rested)
    assert only(observe_hangs(on, late, 25.0)).severity is Severity.MAJOR
    at_work = stalled(watched(on), "sda", seconds=4.0)
    assert only(observe_hangs(on, at_work, 25.0)).severity is Severity.MAJOR


def test_a_stall_that_is_no_hang_is_no_finding() -> None:
    on = machine()
    assert not observe_hangs(on, stalled(watched(on), "sdb", hang=False), 25.0).findings


def test_a_partition_and_an_encrypted_member_are_watched_by_their_drives_counters() -> None:
    drives = [
        drive("sda", above=("sda1",)),
        drive("sda1", disk="sda", below=("sda",)),
        drive("sdb", above=("dm-0",)),
        drive("dm-0", below=("sdb",)),
    ]
    held = array(Level.RAID1, [member("sda1", 0), member("dm-0", 1)])
    [scope] = scopes_of(host([held], drives))
    assert {name: body.name for name, body in scope.bodies} == {"sda1": "sda", "dm-0": "sdb"}
    on = host([held], drives)
    hang = only(observe_hangs(on, stalled(watched(on), "dm-0"), 25.0))
    assert hang.cause.name == "sdb"


def test_a_drive_in_two_arrays_hangs_once() -> None:
    drives = [drive("sda"), *(drive(f"sda{n}", disk="sda", below=("sda",)) for n in (1, 2))]
    pair = [array(Level.RAID1, [member(f"sda{n}", 0)], name=f"md{n}") for n in (1, 2)]
    on = host([replace(each, stable_id=each.name) for each in pair], drives)
    watches = [
        stalled([(scope, watch_array(scope.groups))], scope.groups[0].members[0])[0]
        for scope in scopes_of(on)
    ]
    assert only(observe_hangs(on, watches, 25.0)).arrays == ("md1", "md2")


IDLE = parse_stat("100 0 2000 500 50 0 1000 300 0 700 800")


def stopping(names: tuple[str, ...], *, busy: tuple[str, ...] = (), rest: int = 0) -> Watched:
    """After four seconds in which those hang and the busy ones work, ``rest`` seconds of
    nothing before."""
    [scope] = scopes_of(machine())
    watch, moment = watch_array(scope.groups), 0.0
    while moment < rest + 6:
        at = max(0.0, moment - rest)
        readings: dict[str, IoCounters | None] = dict.fromkeys(NAMES, IDLE)
        if at:
            waits = replace(IDLE, in_flight=2, busy_seconds=IDLE.busy_seconds + at)
            works = replace(waits, reads=100 + round(at * 100))
            readings |= dict.fromkeys(names, waits) | dict.fromkeys(busy, works)
        watch = watch.with_readings(moment, readings)
        moment += watch.wanted_seconds
    return scope, watch


def causes(watched_one: Watched) -> list[str]:
    observation = observe_hangs(machine(), [watched_one], 25.0)
    assert observation.looked_at is not None
    told = [each.cause.stable_id for each in observation.findings]
    assert set(told) <= observation.looked_at <= causes_watched([watched_one])
    return told


def test_drives_behind_one_link_that_stop_together_are_one_hang_of_the_link() -> None:
    told = stopping(("sda", "sdb"), busy=("sdc", "sdd"))
    assert causes(told) == ["path pci0/expander"]
    finding = only(observe_hangs(machine(), [told], 25.0))
    assert isinstance(finding.facts, HangFacts)
    assert (finding.cause.name, finding.facts.drives) == ("expander-0:1", ("sda", "sdb"))
    assert finding.facts.in_flight == 4
    [(scope, watch)] = [told]
    done = replace(IDLE, reads=104)
    later = watch.with_readings(6.75, dict.fromkeys(NAMES, done))
    assert causes((scope, later)) == ["path pci0/expander"], "and so it is over"


def test_one_that_works_behind_the_link_or_one_that_hangs_elsewhere_clears_it() -> None:
    assert causes(stopping(("sda",), busy=("sdb",))) == ["invented-sda"]
    assert causes(stopping(("sda", "sdc"), busy=("sdb",))) == ["invented-sda", "invented-sdc"]


def test_drives_that_may_all_be_starting_are_no_fault_of_their_link() -> None:
    assert causes(stopping(("sda", "sdb"), rest=600)) == ["invented-sda", "invented-sdb"]


def test_a_probe_of_an_array_passes_all_it_is_made_of() -> None:
    on = machine()
    assert touched(on, ["md0"]) == {"md0", *NAMES}
    assert touched(on, ["sda"]) == {"sda"}


def test_what_is_seen_passively_and_measured_of_one_drive_is_one_incident() -> None:
    on = machine()
    passive = only(observe_members(on, watched(on, slow("sdc"))))
    measured = replace(passive, origin=Origin.MEASURED, severity=Severity.MINOR)
    book, _ = advance(IncidentBook(), Observation(origin=Origin.MEASURED, findings=(measured,)), 0)
    book, changes = advance(book, observe_members(on, watched(on, slow("sdc"))), 1)
    [incident] = book.open
    assert len(incident.finding.also) == 1
    assert [str(change.kind) for change in changes] == ["got worse"]


def told(book: IncidentBook, watches: list[Watched], on: Host, moment: float) -> IncidentBook:
    for observation in (observe_hangs(on, watches, 25.0), observe_members(on, watches)):
        book, _ = advance(book, observation, moment)
    return book


def test_a_slow_member_stays_an_incident_while_it_cannot_be_judged_and_ends_when_it_is_well() -> (
    None
):
    """Three looks over a minute say that it is over; at rest nobody can say so. Nor does the
    word on hangs end what was slow, or the other way round."""
    on = machine()
    book = told(IncidentBook(), watched(on, slow("sdc")), on, 0)
    idle = watched(on, *(Unjudged(name=name, reason=Unjudgeable.TOO_LITTLE) for name in NAMES))
    for moment in range(10, 200, 10):
        book = told(book, idle, on, moment)
    assert len(book.open) == 1
    for moment in range(200, 270, 10):
        book = told(book, watched(on), on, moment)
    assert not book.open


def test_a_declared_uplink_that_two_arrays_share_is_one_incident_over_once_both_are_well() -> None:
    uplink = Uplink(
        name="cable", devices=("sd*",), read_bytes_per_second=2e9, write_bytes_per_second=2e9
    )
    drives = [drive(name) for name in NAMES]
    held = [
        array(Level.RAID0, [member(name, slot) for slot, name in enumerate(NAMES[:2])], name="md0"),
        array(Level.RAID0, [member(name, slot) for slot, name in enumerate(NAMES[2:])], name="md1"),
    ]
    on = host(held, drives)
    scopes = scopes_of(on, (uplink,))
    watches = [(scope, watch_array(scope.groups)) for scope in scopes]
    blamed = [
        (scope, replace(watch, seen=(path("cable", *names),)))
        for (scope, watch), names in zip(watches, (NAMES[:2], NAMES[2:]), strict=True)
    ]
    book = told(IncidentBook(), blamed, on, 0)
    observation, _ = observe_state(on, Serving())
    for moment in range(60, 600, 60):
        book, _ = advance(book, observation, moment)
    [incident] = book.open
    assert incident.finding.cause.name == "cable"
    assert incident.finding.arrays == ("md0", "md1")


def test_looks_at_the_machines_state_do_not_end_a_slow_path_that_is_still_there() -> None:
    on = machine()
    for blamed in (path(None, "sda", "sdc"), path(PORT.link_id, "sda", "sdb")):
        book = told(IncidentBook(), watched(on, blamed), on, 0)
        for moment in range(60, 600, 60):
            observation, _ = observe_state(on, Serving())
            book, _ = advance(book, observation, moment)
        assert len(book.open) == 1


def test_a_watch_that_slept_has_no_stall_and_no_interval_across_the_sleep() -> None:
    on = machine()
    [(_, watch)] = stalled(watched(on), "sdb")
    after: PassiveWatch = watch.after_gap()
    assert not after.stalls
    assert after.marked is None
    assert after.groups == watch.groups, "the evidence stays"
