"""Drift as findings: one for each cause, with the evidence, for what was looked at."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import pytest

from arraygauge.inventory.values import DeviceKind, Level, Link, LinkKind, LinkRate
from arraygauge.judge import Status
from arraygauge.judge.change import Shape
from arraygauge.judge.drift import Course, Watch, watch_of
from arraygauge.judge.drift_evidence import DriftFacts, Sign
from arraygauge.judge.drift_moves import SUDDEN_SHARE
from arraygauge.judge.drifting import DriftMemory, accept_as_usual, observe_drift
from arraygauge.judge.findings import Finding, Matter, Observation, Severity
from arraygauge.probe.values import Skipped, SkipReason
from invented import FAILED
from unit.judge.drifting_machine import Machine

Losses = Callable[[int], Mapping[str, float]]


def creep(*names: str, per_pass: float = 0.01) -> Losses:
    return lambda turn: dict.fromkeys(names, per_pass * turn)


def step(share: float, *names: str) -> Losses:
    return lambda _: dict.fromkeys(names, share)


def passes(
    machine: Machine, memory: DriftMemory, losses: Losses, count: int
) -> tuple[list[Observation], DriftMemory]:
    seen = []
    for turn in range(1, count + 1):
        observation, memory = observe_drift(machine.status(losses(turn)), memory)
        seen.append(observation)
    return seen, memory


def after(machine: Machine, losses: Losses, count: int) -> tuple[Finding, ...]:
    seen, _ = passes(machine, machine.lived(), losses, count)
    return seen[-1].findings


def facts(finding: Finding) -> DriftFacts:
    assert isinstance(finding.facts, DriftFacts)
    return finding.facts


def causes(observations: list[Observation]) -> set[str]:
    return {each.cause.name for seen in observations for each in seen.findings}


def test_quiet_passes_find_nothing() -> None:
    machine = Machine()
    assert not any(
        observation.findings for observation in passes(machine, machine.lived(), step(0.0), 60)[0]
    )


@pytest.mark.parametrize("level", [Level.RAID0, Level.RAID5, Level.RAID1])
@pytest.mark.parametrize("seed", range(3))
def test_a_member_that_drifts_is_the_only_cause_and_named_within_twelve_passes(
    level: Level, seed: int
) -> None:
    """Whichever chart alarms first, the array's or the drive's."""
    machine = Machine(level=level, seed=seed)
    seen, _ = passes(machine, machine.lived(), creep("sdc"), 20)
    assert causes(seen) == {"sdc"}
    first = next(turn for turn, each in enumerate(seen, 1) if each.findings)
    assert first <= 12
    [found] = seen[-1].findings
    assert (found.matter, found.severity, found.arrays) == (
        Matter.DRIFT,
        Severity.MINOR,
        ("md0",),
    )
    assert facts(found).drift.onset.shape is Shape.TREND
    peers = facts(found).peers
    assert peers is not None
    assert (peers.array_name, peers.count) == ("md0", 3)
    assert abs(peers.share) < 0.02


def test_members_that_slow_down_together_have_what_they_share_as_their_cause() -> None:
    machine = Machine()
    [found] = after(machine, step(0.08, *machine.names), 20)
    assert found.cause.name == "md0"
    assert facts(found).together == 4


def test_an_array_slower_than_it_was_over_members_that_are_not_is_its_own_cause() -> None:
    [found] = after(Machine(), step(0.08, "md0"), 20)
    assert found.cause.name == "md0"
    assert facts(found).is_array
    assert facts(found).together == 0
    peers = facts(found).peers
    assert peers is not None
    assert (peers.count, abs(peers.share) < 0.02) == (4, True)


def test_two_members_that_drift_by_themselves_are_two_causes() -> None:
    found = after(Machine(), step(0.1, "sda", "sdc"), 20)
    assert {each.cause.name for each in found} == {"sda", "sdc"}


def test_faster_is_information() -> None:
    [found] = after(Machine(level=Level.RAID1), step(-0.08, "sdb"), 20)
    assert (found.matter, found.severity) == (Matter.FASTER, Severity.INFORMATION)
    assert facts(found).drift.course is Course.FASTER


def test_a_member_a_third_slower_than_its_own_past_is_told_at_the_first_pass() -> None:
    """Even one that was so much faster than its peers that it is still not slower than they."""
    machine = Machine(own={"sdd": 300e6})
    [found] = after(machine, step(0.3, "sdd"), 1)
    assert (found.cause.name, found.matter) == ("sdd", Matter.DRIFT)
    drift = facts(found).drift
    assert (drift.passes, drift.onset.shape) == (1, Shape.UNTOLD)
    assert drift.share == pytest.approx(-0.3, abs=0.04)


def test_all_members_slower_at_once_is_not_told_of_any_before_the_charts_do() -> None:
    machine = Machine()
    assert after(machine, step(0.3, *machine.names), 1) == ()


def test_a_sudden_fall_that_was_none_is_over_at_the_next_pass() -> None:
    machine = Machine(own={"sdd": 300e6})
    seen, _ = passes(machine, machine.lived(), lambda turn: {"sdd": 0.3} if turn == 1 else {}, 2)
    assert [len(each.findings) for each in seen] == [1, 0]
    assert seen[1].looked_at is not None
    assert "invented-sdd" in seen[1].looked_at


def test_noise_of_two_per_cent_with_a_wild_tenth_on_top_is_no_sudden_fall() -> None:
    machine = Machine(spread=0.02)
    memory = machine.lived()
    for turn in range(300):
        observation, memory = observe_drift(
            machine.status({"sdb": 0.1} if turn % 30 == 0 else {}), memory
        )
        assert observation.findings == ()
    assert SUDDEN_SHARE > 0.1 + 4 * 0.02


def test_a_partition_that_drifts_is_put_down_to_its_drive_and_accepted_by_either_name() -> None:
    parts = ("sda1", "sdb1", "sdc1")
    machine = Machine(
        names=parts,
        disks=("sda", "sdb", "sdc"),
        drives={name: {"kind": DeviceKind.PARTITION, "disk": name[:-1]} for name in parts},
    )
    seen, memory = passes(machine, machine.lived(), step(0.1, "sdb1"), 12)
    assert causes(seen) == {"sdb"}
    assert seen[-1].findings[0].arrays == ("md0",)
    for word in ("invented-sdb", "invented-sdb1"):
        over, after_it = accept_as_usual(memory, [word])
        assert over.looked_at == frozenset({"invented-sdb"})
        assert after_it.told == {}


def test_it_speaks_only_for_what_the_pass_read() -> None:
    machine = Machine()
    seen, memory = passes(machine, machine.lived(), step(0.1, "sdc"), 8)
    assert causes(seen[-1:]) == {"sdc"}
    observation, memory = observe_drift(machine.unmeasured(), memory)
    assert observation.looked_at == frozenset()
    whole = machine.status(step(0.1, "sdc")(1))
    others = replace(whole, devices=tuple(d for d in whole.devices if d.device.name != "sdc"))
    observation, _ = observe_drift(others, memory)
    assert observation.looked_at is not None
    assert "invented-sdc" not in observation.looked_at
    assert "invented-sda" in observation.looked_at


def test_passes_that_gave_nothing_are_gaps_and_change_no_chart() -> None:
    machine = Machine()
    memory = machine.lived()
    before = {each.usual.key: each.state.sums for each in memory.watched}
    for _ in range(15):
        _, memory = observe_drift(machine.unmeasured(), memory)
    assert {each.usual.key: each.state.sums for each in memory.watched} == before
    assert {watch_of(each) for each in memory.watched} == {Watch.UNMEASURED}


def test_the_signature_stays_while_figures_change_and_grows_with_what_is_new() -> None:
    machine = Machine()
    seen, _ = passes(machine, machine.lived(), step(0.12, "sdc"), 60)
    found = [observation.findings[0].signature for observation in seen if observation.findings]
    assert len(found) > 40
    assert len(set(found)) <= 3
    worse, _ = passes(machine, machine.lived(), creep("sdc"), 45)
    steps = [each.findings[0].signature for each in worse if each.findings]
    assert 4 <= len(set(steps)) <= 7


def test_another_drive_of_the_same_name_is_learned_anew_and_so_is_its_array() -> None:
    machine = Machine()
    _, memory = passes(machine, machine.lived(), step(0.1, "sdc"), 8)
    machine.drives = {"sdc": {"stable_id": "invented-new", "serial": "new"}}
    observation, memory = observe_drift(machine.status({"sdc": 0.3}), memory)
    assert observation.findings == ()
    learning = {
        each.usual.key.stable_id for each in memory.watched if watch_of(each) is Watch.LEARNING
    }
    assert learning == {"invented-new", "invented-md0"}


def test_a_degraded_array_is_a_gap_and_not_another_array() -> None:
    """It comes back with the same drive and is held to what it did before."""
    machine = Machine(level=Level.RAID5)
    memory = machine.lived()
    before = next(each for each in memory.watched if each.usual.key.stable_id == "invented-md0")
    machine.members = {"sdd": FAILED}
    _, memory = observe_drift(machine.status(), memory)
    during = next(each for each in memory.watched if each.usual.key.stable_id == "invented-md0")
    assert (during.usual, during.state.unusable) == (before.usual, 1)


def test_a_slow_drive_that_drops_out_leaves_no_drift_of_its_array_behind() -> None:
    """The array's chart stands still where the drive had brought it; another cause of that is
    not looked for among those that are left."""
    machine = Machine(level=Level.RAID5)
    slow, memory = passes(machine, machine.lived(), step(0.1, "sdc"), 15)
    assert causes(slow) == {"sdc"}
    machine.members = {"sdc": FAILED}
    dropped, memory = passes(machine, memory, step(0.1, "sdc"), 5)
    assert causes(dropped) == {"sdc"}
    machine.members = {}
    whole, _ = passes(machine, memory, step(0.1, "sdc"), 5)
    assert causes(whole) == {"sdc"}


def with_link(status: Status, name: str, link: Link) -> Status:
    return replace(
        status,
        devices=tuple(
            replace(each, low_links=(link,)) if each.device.name == name else each
            for each in status.devices
        ),
    )


LOW = Link(
    link_id="port-3",
    kind=LinkKind.SATA,
    name="port 3",
    negotiated=LinkRate(bits_per_second_per_lane=1_500_000_000, lanes=1),
    maximum=LinkRate(bits_per_second_per_lane=6_000_000_000, lanes=1),
    parent_id=None,
)


def test_links_warmth_fill_and_errors_are_evidence() -> None:
    machine = Machine()
    memory = DriftMemory()
    place = machine.status().devices[0].attempt
    assert not isinstance(place, Skipped)
    some, none = place.places[:3], ()
    for _ in range(190):
        _, memory = observe_drift(machine.status(temperature_celsius=35.0, set_aside=some), memory)
    machine.members = {"sdc": {"errors": 3, "bad_block_ranges": 1}}
    for _ in range(9):
        status = machine.status({"sdc": 0.15}, temperature_celsius=61.0, set_aside=none)
        observation, memory = observe_drift(with_link(status, "sdc", LOW), memory)
    [found] = observation.findings
    seen = facts(found)
    assert seen.signs == set(Sign)
    assert seen.low_links == (LOW,)
    assert (seen.drift.baseline.usual_celsius, seen.drift.celsius) == (35.0, 61.0)
    assert (seen.before.errors, seen.now.errors) == (0, 3)


def test_accepting_ends_it_for_the_member_and_for_the_array_it_explains() -> None:
    machine = Machine()
    seen, memory = passes(machine, machine.lived(), step(0.1, "sdc"), 12)
    assert causes(seen[-1:]) == {"sdc"}
    observation, memory = accept_as_usual(memory, ["invented-sdc"])
    assert observation.findings == ()
    assert observation.looked_at == frozenset({"invented-sdc"})
    learning = {
        each.usual.key.stable_id for each in memory.watched if watch_of(each) is Watch.LEARNING
    }
    assert learning == {"invented-sdc", "invented-md0"}
    assert not any(each.findings for each in passes(machine, memory, step(0.1, "sdc"), 20)[0])


def test_accepting_what_has_not_changed_learns_only_that_anew() -> None:
    machine = Machine()
    _, memory = accept_as_usual(machine.lived(), ["invented-sda"])
    learning = {
        each.usual.key.stable_id for each in memory.watched if watch_of(each) is Watch.LEARNING
    }
    assert learning == {"invented-sda"}


def test_a_device_left_alone_is_a_gap() -> None:
    machine = Machine()
    memory = machine.lived()
    status = machine.status()
    left = Skipped(device="sdb", reason=SkipReason.ASLEEP, detail="asleep")
    devices = tuple(
        replace(each, attempt=left) if each.device.name == "sdb" else each
        for each in status.devices
    )
    observation, _ = observe_drift(replace(status, devices=devices), memory)
    assert observation.looked_at is not None
    assert "invented-sdb" not in observation.looked_at
