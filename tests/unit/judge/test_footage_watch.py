"""A promise that no longer holds is told once, with what explains it; alone only where nothing
does."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from arraygauge.inventory.values import Array, Host, Level, SyncAction
from arraygauge.judge import Grounds, Status
from arraygauge.judge.findings import Cause, Finding, Matter, Observation, Origin, Severity
from arraygauge.judge.footage_values import Promise
from arraygauge.judge.footage_watch import FootageFacts, FootageWatch
from arraygauge.judge.incidents import ChangeKind, Incident, IncidentBook, advance
from arraygauge.judge.measured import observe_status
from arraygauge.judge.state import Serving, observe_state
from arraygauge.probe.values import Attempt, Skipped, SkipReason
from arraygauge.service.survey import judged
from arraygauge.service.targets import choose_targets
from arraygauge.theory.footage import stream_at
from invented import FAILED, array, drive, host, measured, member

NAMES = ("sda", "sdb", "sdc", "sdd")
BUSY = Skipped(device="md0", reason=SkipReason.OTHERS_AT_WORK, detail="md0 is in use")


def asks(streams: int, name: str = "interview", headroom: Fraction = Fraction(0)) -> Promise:
    """Streams of 100 MB/s."""
    return Promise(name=name, stream=stream_at(Fraction(800)), streams=streams, headroom=headroom)


def raid5(*lost: str, filling: str | None = None) -> Array:
    """``filling`` takes the place of the first that is lost."""
    members = [member(name, slot) for slot, name in enumerate(NAMES)]
    held = [replace(each, **FAILED) if each.name in lost else each for each in members]
    changes: dict[str, object] = {"raid_disks": 4, "degraded": len(lost)}
    if filling is not None:
        held.append(member(filling, NAMES.index(lost[0]), states=(), state_text="spare"))
        changes |= {"sync_action": SyncAction.RECOVER, "sync_bytes_per_second": 50_000_000}
    return array(Level.RAID5, held, **changes)


def machine(held: Array) -> Host:
    return host([held], [drive(name) for name in (*NAMES, "sde")])


class Agent:
    """The book and the watch as the keeper binds them."""

    def __init__(self, *promises: Promise) -> None:
        self.grounds = Grounds(footage={"md0": promises})
        self.book, self.watch, self.serving = IncidentBook(), FootageWatch(), Serving()
        self.moment = 0.0
        self.kinds: list[tuple[ChangeKind, str]] = []

    def passes(self, own: float | None, held: Array | None = None, **slower: float) -> None:
        """A pass in which the array gives so much, and members but a share of 200 MB/s."""
        seen = machine(held or raid5())
        attempts: dict[str, Attempt] = {
            name: measured(name, 200e6 * slower.get(name, 1.0)) for name in (*NAMES, "sde")
        }
        attempts["md0"] = measured("md0", own) if own is not None else BUSY
        status: Status = judged(seen, choose_targets(seen, ()), attempts, self.grounds)
        self.watch = self.watch.after_pass(status)
        self.advance(observe_status(status))

    def looks(self, held: Array) -> None:
        seen = machine(held)
        observation, self.serving = observe_state(seen, self.serving)
        self.watch = self.watch.after_look(seen)
        self.advance(observation)

    def advance(self, observation: Observation) -> None:
        self.moment += 3600.0
        self.book, changes = advance(self.book, observation, self.moment, self.watch.observe)
        self.kinds += [(each.kind, each.incident.finding.cause.name) for each in changes]

    @property
    def open(self) -> list[tuple[str, Matter]]:
        return [(each.finding.cause.name, each.finding.matter) for each in self.book.open]


def promise_of(incident: Incident) -> FootageFacts | None:
    facts = [each.facts for each in (incident.finding, *incident.finding.also)]
    return next((each for each in facts if isinstance(each, FootageFacts)), None)


def test_a_promise_that_holds_is_nothing_to_tell() -> None:
    agent = Agent(asks(4))
    agent.looks(raid5())
    agent.passes(800e6)
    agent.passes(800e6)
    assert agent.open == []


def test_more_than_it_can_carry_is_told_of_the_array_itself_at_the_second_pass() -> None:
    """7.9 of 8 streams: the array does all it can, and nothing else is the matter."""
    agent = Agent(asks(8))
    agent.passes(790e6)
    assert agent.open == []
    agent.passes(790e6)
    assert agent.open == [("md0", Matter.FOOTAGE)]
    [incident] = agent.book.open
    assert incident.finding.severity is Severity.MAJOR
    facts = promise_of(incident)
    assert facts is not None
    assert [(each.streams, each.carried) for each in facts.broken] == [(8, 7)]


def test_far_too_little_is_told_at_once() -> None:
    agent = Agent(asks(16))
    agent.passes(790e6)
    assert agent.open == [("md0", Matter.FOOTAGE)]


def test_looks_between_passes_are_no_second_measurement() -> None:
    agent = Agent(asks(8))
    agent.passes(790e6)
    for _ in range(5):
        agent.looks(raid5())
    assert agent.open == []


def test_one_low_pass_between_good_ones_is_never_told() -> None:
    agent = Agent(asks(7))
    for own in (790e6, 690e6, 790e6, 690e6, 790e6):
        agent.passes(own)
    assert agent.kinds == []


def test_only_the_headroom_is_a_lesser_matter() -> None:
    agent = Agent(asks(7, headroom=Fraction(3, 10)))
    agent.passes(790e6)
    agent.passes(790e6)
    [incident] = agent.book.open
    assert incident.finding.severity is Severity.MINOR


def test_a_slow_member_explains_it_and_there_is_one_incident() -> None:
    agent = Agent(asks(6))
    agent.passes(400e6, sdb=0.5)
    assert agent.open == [("sdb", Matter.SLOW_MEMBER)]
    [incident] = agent.book.open
    facts = promise_of(incident)
    assert facts is not None
    assert facts.broken[0].carried == 4


def test_a_member_not_yet_believed_slow_is_waited_for() -> None:
    """At 85 % it is told at the second pass only: the promise is not told alone before."""
    agent = Agent(asks(10))
    agent.passes(680e6, sdb=0.85)
    assert agent.open == []
    agent.passes(680e6, sdb=0.85)
    assert agent.open == [("sdb", Matter.SLOW_MEMBER)]
    assert len(agent.book.incidents) == 1


def test_a_lost_member_takes_the_promise_with_it_in_the_first_message() -> None:
    """The look that finds the loss already knows what the pass before foretold."""
    agent = Agent(asks(7))
    agent.looks(raid5())
    agent.passes(800e6)
    agent.looks(raid5("sdb"))
    assert agent.open == [("sdb", Matter.NO_REDUNDANCY)]
    assert agent.kinds == [(ChangeKind.OPENED, "sdb")]
    facts = promise_of(agent.book.open[0])
    assert facts is not None
    assert facts.broken[0].carried == 6, "three members of 200 MB/s"


def test_a_loss_that_leaves_enough_says_nothing_of_the_promise() -> None:
    agent = Agent(asks(2))
    agent.looks(raid5())
    agent.passes(800e6)
    agent.looks(raid5("sdb"))
    [incident] = agent.book.open
    assert promise_of(incident) is None


def test_a_rebuild_is_judged_by_what_is_left_while_the_kernel_gives_way() -> None:
    agent = Agent(asks(6))
    agent.looks(raid5())
    agent.passes(800e6)
    agent.looks(raid5("sdb", filling="sde"))
    [incident] = agent.book.open
    facts = promise_of(incident)
    assert facts is not None
    assert facts.broken[0].condition == "rebuilding"
    assert facts.broken[0].carried == 5, "6 less 1 MB/s a member for the rebuild: 597 MB/s"


def test_whole_again_it_holds_again() -> None:
    agent = Agent(asks(7))
    agent.looks(raid5())
    agent.passes(800e6)
    agent.looks(raid5("sdb"))
    for _ in range(3):
        agent.looks(raid5())
    assert agent.open == []
    assert [kind for kind, _ in agent.kinds] == [ChangeKind.OPENED, ChangeKind.CLOSED]


def test_a_cause_found_later_takes_the_promise_over() -> None:
    agent = Agent(asks(8))
    agent.passes(790e6)
    agent.passes(790e6)
    slow = Finding(
        origin=Origin.PASSIVE,
        cause=Cause(stable_id="invented-sdc", name="sdc"),
        matter=Matter.SLOW_MEMBER,
        severity=Severity.MAJOR,
        arrays=("md0",),
        signature="",
        facts=None,
    )
    agent.advance(Observation(origin=Origin.PASSIVE, findings=(slow,)))
    assert agent.open == [("sdc", Matter.SLOW_MEMBER)]
    assert promise_of(agent.book.open[0]) is not None


def test_a_promise_that_breaks_under_an_open_incident_is_told() -> None:
    """The slow member is known; then it gets so slow that the footage no longer plays."""
    agent = Agent(asks(5))
    agent.passes(640e6, sdb=0.75)
    assert agent.kinds == [(ChangeKind.OPENED, "sdb")]
    assert promise_of(agent.book.open[0]) is None
    agent.passes(300e6, sdb=0.75)
    assert agent.kinds[1:] == [(ChangeKind.CHANGED, "sdb")]
    assert promise_of(agent.book.open[0]) is not None


def test_matters_that_explain_no_rate_do_not_take_it() -> None:
    agent = Agent(asks(8))
    mismatched = replace(raid5(), mismatch_bytes=4096)
    agent.looks(mismatched)
    agent.passes(790e6, mismatched)
    agent.passes(790e6, mismatched)
    [incident] = agent.book.open
    assert incident.finding.matter is Matter.FOOTAGE
    assert [each.matter for each in incident.finding.also] == [Matter.MISMATCHES]


def test_an_array_in_use_leaves_open_what_was_found() -> None:
    agent = Agent(asks(8))
    agent.passes(790e6)
    agent.passes(790e6)
    agent.passes(None)
    assert agent.open == [("md0", Matter.FOOTAGE)]
    agent.passes(810e6)
    agent.looks(raid5())
    assert agent.open == []


@pytest.mark.parametrize("looks", [1, 5])
def test_after_a_restart_it_stays_until_a_pass_was_made(looks: int) -> None:
    agent = Agent(asks(8))
    agent.passes(790e6)
    agent.passes(790e6)
    agent.watch = FootageWatch()
    for _ in range(looks):
        agent.looks(raid5())
    assert agent.open == [("md0", Matter.FOOTAGE)]
    agent.passes(810e6)
    agent.looks(raid5())
    assert agent.open == []


def test_a_promise_taken_back_is_over() -> None:
    agent = Agent(asks(8))
    agent.passes(790e6)
    agent.passes(790e6)
    agent.grounds = Grounds()
    agent.passes(790e6)
    agent.looks(raid5())
    assert agent.open == []


def test_several_promises_of_one_array_are_one_finding() -> None:
    agent = Agent(asks(8), asks(9, "wide"), asks(2, "small"))
    agent.passes(790e6)
    agent.passes(790e6)
    [incident] = agent.book.open
    facts = promise_of(incident)
    assert facts is not None
    assert [each.footage for each in facts.broken] == ["interview", "wide"]
