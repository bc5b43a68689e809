"""Drift through the keeper: one incident for each cause, over restarts, on a history of its own."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from arraygauge.history import Clock, History, Pen, open_history
from arraygauge.history.drift_rows import DriftRows, ask_to_accept, asked_to_accept, recall_drift
from arraygauge.history.incident_log import LoggedIncident, logged_incidents
from arraygauge.history.moment import Moment
from arraygauge.inventory.values import Level
from arraygauge.judge.drift import Watch, watch_of
from arraygauge.judge.findings import Matter, Origin
from arraygauge.service.keeper import Keeper
from unit.judge.drifting_machine import BEGAN, Machine


@dataclass(slots=True)
class Time:
    """A clock that is moved by hand; the wall's may be set beside it."""

    uptime: float = 1e6
    set_by: float = 0.0

    def now(self) -> Moment:
        return Moment(
            wall_seconds=BEGAN + self.uptime + self.set_by,
            uptime_seconds=self.uptime,
            boot_id="a-boot",
        )


@dataclass(slots=True)
class Agent:
    """One machine, one history, and a keeper that may be started anew."""

    history: History
    machine: Machine = field(default_factory=Machine)
    time: Time = field(default_factory=Time)
    keeper: Keeper = field(init=False)

    def __post_init__(self) -> None:
        clock: Clock = self.time.now
        DriftRows(Pen(self.history), clock).keep(self.machine.lived())
        self.restart()

    def restart(self) -> None:
        self.keeper = Keeper(self.history, self.time.now, (), "invented")
        self.keeper.start()

    def measure(self, slower: Mapping[str, float] | None = None) -> None:
        self.time.uptime += 3600
        self.keeper.see_host(self.machine.host)
        self.keeper.see_status(self.machine.status(slower))

    def look(self) -> None:
        self.time.uptime += 60
        self.keeper.see_host(self.machine.host)

    @property
    def incidents(self) -> tuple[LoggedIncident, ...]:
        return logged_incidents(self.history, 100)

    @property
    def open_names(self) -> list[str]:
        return [each.finding.cause.name for each in self.keeper.open_incidents]


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    with open_history(tmp_path / "history.sqlite") as opened:
        yield opened


def passes_until_open(agent: Agent, name: str, per_pass: float) -> int:
    for turn in range(1, 30):
        agent.measure({name: per_pass * turn})
        if agent.open_names:
            return turn
    raise AssertionError("never found")


@pytest.mark.parametrize("spread", [0.003, 0.01, 0.015])
@pytest.mark.parametrize("level", [Level.RAID0, Level.RAID5, Level.RAID1])
def test_one_per_cent_a_pass_is_one_incident_within_twelve_passes_and_stays_one(
    history: History, level: Level, spread: float
) -> None:
    """Though it is seen against its past, against its peers, and in the array as well."""
    agent = Agent(history, Machine(level=level, spread=spread, seed=3))
    passes = passes_until_open(agent, "sdc", 0.01)
    assert passes <= 12
    for turn in range(passes + 1, 25):
        agent.measure({"sdc": 0.01 * turn})
    [incident] = agent.incidents
    assert (incident.cause_name, incident.arrays) == ("sdc", ("md0",))
    [kept] = agent.keeper.open_incidents
    origins = {one.origin for one in (kept.finding, *kept.finding.also)}
    assert origins == {Origin.MEASURED, Origin.DRIFT}


@pytest.mark.parametrize("spread", [0.003, 0.01, 0.02])
@pytest.mark.parametrize("own", [{}, {"sdd": 300e6}], ids=["like its peers", "once the fastest"])
@pytest.mark.parametrize("level", [Level.RAID0, Level.RAID5, Level.RAID10])
def test_a_member_slowed_by_thirty_per_cent_is_named_at_the_first_pass_and_nobody_else(
    history: History, spread: float, own: Mapping[str, float], level: Level
) -> None:
    """By its peers, or by its own past where it is still no slower than they."""
    agent = Agent(history, Machine(level=level, spread=spread, own=own))
    agent.measure({"sdd": 0.3})
    assert agent.open_names == ["sdd"]
    for _ in range(8):
        agent.measure({"sdd": 0.3})
    assert [each.cause_name for each in agent.incidents] == ["sdd"]


def test_without_any_past_the_first_pass_names_it_by_its_peers(history: History) -> None:
    agent = Agent(history, Machine())
    DriftRows(Pen(history), agent.time.now).keep(type(recall_drift(history))())
    agent.restart()
    agent.measure({"sdd": 0.3})
    assert agent.open_names == ["sdd"]
    [incident] = agent.keeper.open_incidents
    assert (incident.finding.origin, incident.finding.matter) == (
        Origin.MEASURED,
        Matter.SLOW_MEMBER,
    )


def test_agents_that_end_after_every_pass_find_it_as_soon(history: History, tmp_path: Path) -> None:
    through = passes_until_open(Agent(history), "sdc", 0.01)
    with open_history(tmp_path / "other.sqlite") as other:
        agent = Agent(other)
        for turn in range(1, through + 1):
            agent.restart()
            agent.measure({"sdc": 0.01 * turn})
        assert agent.open_names == ["sdc"]
        agent.restart()
        assert agent.open_names == ["sdc"]
        agent.measure({"sdc": 0.01 * (through + 1)})
        [incident] = agent.incidents
        assert [change.kind for change in incident.changes][:1] == ["opened"]


def test_a_drift_undone_closes_its_incident(history: History) -> None:
    agent = Agent(history)
    for _ in range(12):
        agent.measure({"sdc": 0.06})
    assert agent.open_names == ["sdc"]
    for _ in range(8):
        agent.measure()
    assert agent.open_names == []
    [incident] = agent.incidents
    assert incident.closed_at_seconds is not None


def test_passes_that_measured_nothing_neither_open_nor_close(history: History) -> None:
    agent = Agent(history)
    for _ in range(12):
        agent.measure({"sdc": 0.06})
    for _ in range(20):
        agent.keeper.see_status(agent.machine.unmeasured())
    assert agent.open_names == ["sdc"]
    words = {str(watch_of(each)) for each in recall_drift(history).watched}
    assert words == {"not measured lately"}


@pytest.mark.parametrize("jump", [-40 * 86400.0, 40 * 86400.0])
def test_a_clock_that_was_set_opens_nothing_and_hides_nothing(
    history: History, jump: float
) -> None:
    agent = Agent(history)
    for _ in range(5):
        agent.measure()
    agent.time.set_by = jump
    agent.machine.clock_set_by = jump
    for _ in range(20):
        agent.measure()
    assert agent.incidents == ()
    assert passes_until_open(agent, "sdc", 0.01) <= 12


def test_what_is_accepted_closes_within_a_look_and_is_learned_anew(history: History) -> None:
    agent = Agent(history)
    for _ in range(12):
        agent.measure({"sdc": 0.06})
    ask_to_accept(history, "invented-sdc", 0.0)
    agent.look()
    assert agent.open_names == []
    assert asked_to_accept(history) == ()
    learning = {
        each.usual.key.stable_id
        for each in recall_drift(history).watched
        if watch_of(each) is Watch.LEARNING
    }
    assert learning == {"invented-sdc", "invented-md0"}
    for _ in range(30):
        agent.measure({"sdc": 0.06})
    assert agent.open_names == []


def test_what_is_accepted_while_no_agent_runs_is_taken_up_by_the_next(history: History) -> None:
    agent = Agent(history)
    for _ in range(12):
        agent.measure({"sdc": 0.06})
    ask_to_accept(history, "invented-sdc", 0.0)
    agent.restart()
    assert agent.open_names == ["sdc"]
    agent.look()
    assert agent.open_names == []


def test_another_drive_in_the_same_slot_ends_what_was_told_of_the_first(history: History) -> None:
    agent = Agent(history)
    for _ in range(12):
        agent.measure({"sdc": 0.06})
    agent.machine.drives = {"sdc": {"stable_id": "invented-new", "serial": "new"}}
    agent.look()
    agent.measure()
    agent.measure()
    assert agent.open_names == []


def test_the_message_has_what_since_when_how_much_and_what_to_do(history: History) -> None:
    agent = Agent(history, Machine(level=Level.RAID1))
    for turn in range(1, 15):
        agent.measure({"sdb": 0.01 * turn})
    [incident] = agent.incidents
    document = json.loads(incident.document)
    assert document["matter"] == "drift"
    assert document["facts"]["drift"]["onset"]["shape"] == "trend"
    words = document["words"]
    assert words["headline"].endswith("sdb is not as fast as it used to be")
    assert "200 MB/s was usual" in words["reason"]
    assert "little by little since about" in words["reason"]
    assert "3 other members of md0 are where they were" in words["reason"]
    assert "arraygauge accept-baseline sdb" in words["steps"][-1]
    assert words["cautions"]


def test_what_is_kept_of_a_year_is_small(history: History) -> None:
    """Written after every pass: some ten kilobytes for each subject at the most."""
    agent = Agent(history)
    DriftRows(Pen(history), agent.time.now).keep(Machine().lived(2000))
    with history.reading() as connection:
        [(size,)] = connection.execute(
            "SELECT length(value) FROM remembered WHERE key = 'drift'"
        ).fetchall()
    assert size < 5 * 10_000
