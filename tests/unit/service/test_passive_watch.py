"""The passive watch of a running agent, over invented counters and clocks."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import pytest

from arraygauge.config import Configuration, parse_configuration
from arraygauge.history import History, Pen, open_history, system_clock
from arraygauge.history.stalls import Stalls, stalls_of
from arraygauge.inventory.counters import CounterReader, IoCounters
from arraygauge.inventory.tree import Tree
from arraygauge.inventory.values import Host, Level
from arraygauge.judge.findings import Matter, Origin
from arraygauge.judge.passive import SlowMember
from arraygauge.probe.own_probes import OwnProbes
from arraygauge.probe.stop import StopToken
from arraygauge.service.keeper import Keeper
from arraygauge.service.parts import Pulse
from arraygauge.service.passive_telling import AGAIN_SECONDS, STALLS_SECONDS, News, PassiveTelling
from arraygauge.service.passive_watch import (
    ASK_AGAIN_SECONDS,
    QUIET_SECONDS,
    RESUME_SECONDS,
    Clocks,
    PassiveWatcher,
)
from invented import array, drive, host, member
from unit.judge.passive_machine import KIB, Load, Machine, flash, hot, name_of, streaming

NAMES = tuple(name_of(slot) for slot in range(6))


def stripe(**changes: object) -> Host:
    held = array(Level.RAID0, [member(name, slot) for slot, name in enumerate(NAMES)])
    return host([replace(held, **changes)])  # type: ignore[arg-type]


@dataclass(frozen=True)
class Ends:
    """As much of a stop token as the watch needs."""

    wait: Callable[[float], bool]


class World:
    """Invented drives whose counters lie in files, and the watch over them."""

    def __init__(self, root: Path, machine: Machine, stop: StopToken) -> None:
        self.machine = machine
        self.slept = 0.0
        self.news: list[News] = []
        self.asked: list[float] = []
        self.own = OwnProbes()
        self.looks: list[float] = []
        self._root = root
        self._write()
        self.watcher = PassiveWatcher(
            stop,
            Configuration(),
            self.own,
            on_news=self.news.append,
            on_suspicion=lambda: self.asked.append(self.machine.now),
            clocks=Clocks(
                monotonic=lambda: self.machine.now,
                suspended=lambda: self.slept,
                wall=lambda: 1.8e9 + self.machine.now,
            ),
            counters=partial(CounterReader, tree=Tree(root=root)),
        )
        self.watcher.see_host(stripe())

    def run(self, until: float) -> None:
        """Looks as they are wanted, until then."""
        while self.machine.now < until:
            self._write()
            self.looks.append(self.machine.now)
            self.machine.run(self.machine.now + self.watcher.look())

    def until(self, end: float) -> Ends:
        """A stop token for which the invented time passes while it is waited for."""

        def wait(seconds: float) -> bool:
            self.machine.run(self.machine.now + seconds)
            self._write()
            return self.machine.now >= end

        return Ends(wait)

    @property
    def slow(self) -> list[SlowMember]:
        [(_, watch)] = self.watcher.watched
        return [one for one in watch.seen if isinstance(one, SlowMember)]

    def findings(self, matter: Matter) -> list[str]:
        """Names of causes of that matter at the last look."""
        return [
            each.cause.name
            for observation in self.news[-1].observations
            for each in observation.findings
            if each.matter is matter
        ]

    def _write(self) -> None:
        for name, counters in self.machine.readings().items():
            assert counters is not None
            folder = self._root / "sys/class/block" / name
            folder.mkdir(parents=True, exist_ok=True)
            (folder / "stat").write_text(line(counters), encoding="ascii")


def line(told: IoCounters) -> str:
    """As the kernel prints it: Documentation/block/stat.rst."""
    numbers = (
        told.reads,
        0,
        told.read_bytes // 512,
        round(told.read_seconds * 1000),
        told.writes,
        0,
        told.written_bytes // 512,
        round(told.write_seconds * 1000),
        told.in_flight,
        round(told.busy_seconds * 1000),
        round(told.weighted_seconds * 1000),
    )
    return " ".join(map(str, numbers)) + "\n"


@pytest.fixture
def stop() -> Iterator[StopToken]:
    token = StopToken()
    yield token
    token.close()


@pytest.fixture
def world(tmp_path: Path, stop: StopToken) -> World:
    return World(tmp_path, Machine(flash(6), 1), stop)


LOAD = Load(4, streaming(256 * KIB), 0.01)


def test_at_rest_it_looks_every_two_seconds_and_no_more_often(world: World) -> None:
    world.run(60)
    gaps = {round(b - a, 3) for a, b in zip(world.looks, world.looks[1:], strict=False)}
    assert gaps == {2.0}


def test_a_member_that_slows_to_half_is_suspected_and_then_alarmed(world: World) -> None:
    world.machine.bear(LOAD)
    world.run(60)
    assert not world.slow
    world.machine.drives[2].factor = 2.0
    world.run(120)
    assert [one.name for one in world.slow] == [NAMES[2]]
    world.run(360)
    assert world.findings(Matter.SLOW_MEMBER) == [NAMES[2]]


def test_a_suspicion_asks_for_a_probe_once_the_array_rests_and_not_again_for_an_hour(
    world: World,
) -> None:
    """A probe gives way to others' work: while they work it would tell nothing."""
    world.machine.bear(LOAD)
    world.run(30)
    world.machine.drives[2].factor = 2.0
    while not world.slow:
        world.run(world.machine.now + 2)
    assert not world.asked
    world.machine.bear()
    ended = world.machine.now
    world.run(ended + 60)
    [at] = world.asked
    assert ended + QUIET_SECONDS <= at <= ended + QUIET_SECONDS + 5
    world.run(at + ASK_AGAIN_SECONDS - 10)
    assert len(world.asked) == 1


def test_a_drive_that_stops_to_answer_is_a_finding_within_three_seconds_and_its_length_is_known(
    world: World,
) -> None:
    world.machine.bear(LOAD)
    world.run(20)
    began, length = world.machine.now, 8.0
    world.machine.drives[4].frozen_until = began + length
    while not world.findings(Matter.DEVICE_HANGS):
        world.run(world.machine.now + 0.01)
    assert world.looks[-1] - began <= 3.0
    assert world.findings(Matter.DEVICE_HANGS) == [NAMES[4]]
    while not world.news[-1].stalls:
        world.run(world.machine.now + 0.01)
    assert world.looks[-1] - (began + length) <= 0.5
    [stall] = world.news[-1].stalls
    assert stall.hang
    assert stall.milliseconds == pytest.approx(1000 * length, abs=500)
    assert stall.began_at_seconds == pytest.approx(1.8e9 + began, abs=0.5)
    assert stall.frames_per_second == 25


def test_work_of_its_own_probes_is_not_looked_at(world: World) -> None:
    world.machine.bear(LOAD)
    world.run(30)
    world.machine.bear(LOAD, Load(8, hot(3, 1024 * KIB)))
    with world.own.on("md0"):
        world.run(60)
    [(_, watch)] = world.watcher.watched
    assert max(look.moment for look in watch.groups[0].looks.values()) <= 34
    world.machine.bear(LOAD)
    world.run(75)
    [(_, watch)] = world.watcher.watched
    assert min(look.moment for look in watch.groups[0].looks.values()) > 60


def test_while_the_machine_wakes_up_nothing_is_said_of_drives_that_start(world: World) -> None:
    """A sleep shows as CLOCK_BOOTTIME that runs ahead of CLOCK_MONOTONIC."""
    world.machine.bear(LOAD)
    world.run(20)
    world.slept += 3600.0
    for each in world.machine.drives:
        each.frozen_until = world.machine.now + 10
    world.run(20 + RESUME_SECONDS + 10)
    assert not any(each.stalls for each in world.news)
    assert not any(o.findings for each in world.news for o in each.observations)
    world.machine.drives[0].frozen_until = world.machine.now + 10
    world.run(world.machine.now + 5)
    assert world.findings(Matter.DEVICE_HANGS) == [NAMES[0]]


def test_a_watch_goes_on_over_a_new_look_at_the_same_machine_and_anew_over_another(
    world: World,
) -> None:
    world.machine.bear(LOAD)
    world.run(20)
    world.watcher.see_host(stripe())
    world.run(24)
    [(_, watch)] = world.watcher.watched
    assert watch.groups[0].looks
    other = replace(drive(NAMES[0]), stable_id="another-drive")
    changed = stripe()
    devices = tuple(other if each.name == NAMES[0] else each for each in changed.devices)
    world.watcher.see_host(replace(changed, devices=devices))
    world.watcher.look()
    [(_, watch)] = world.watcher.watched
    assert not watch.groups[0].looks


def test_an_array_that_is_gone_is_watched_no_more(world: World) -> None:
    world.run(4)
    world.watcher.see_host(host([], [drive(name) for name in NAMES]))
    assert world.watcher.look() == 2.0
    assert not world.watcher.watched


def test_a_drive_whose_counters_cannot_be_read_is_left_out(world: World, tmp_path: Path) -> None:
    world.run(4)
    world.watcher.see_host(stripe(name="md1", stable_id="other"))
    (tmp_path / "sys/class/block" / NAMES[0] / "stat").unlink()
    world.machine.bear(LOAD)
    world.watcher.look()
    [(_, watch)] = world.watcher.watched
    assert len(watch.hangs) == 6


def test_a_reconfigured_frame_rate_holds_from_the_next_look_on(world: World) -> None:
    world.run(4)
    world.watcher.reconfigure(parse_configuration("[watching]\nframes_per_second = 60\n", "test"))
    world.machine.bear(LOAD)
    world.run(20)
    world.machine.drives[4].frozen_until = world.machine.now + 5
    while not world.news[-1].stalls:
        world.run(world.machine.now + 0.01)
    assert world.news[-1].stalls[0].frames_per_second == 60


def test_after_a_failure_it_goes_on_where_it_was(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    world.machine.bear(LOAD)
    world.run(20)

    def fail() -> float:
        raise RuntimeError("a bug, invented for a test")

    pulse = Pulse("watch", lambda: None, time.monotonic)
    with monkeypatch.context() as patched:
        patched.setattr(world.watcher, "look", fail)
        with pytest.raises(RuntimeError, match="invented"):
            world.watcher.run(pulse)
    monkeypatch.setattr(world.watcher, "_stop", world.until(40))
    world.watcher.run(pulse)
    [(_, watch)] = world.watcher.watched
    assert min(look.moment for look in watch.groups[0].looks.values()) > 30


def test_it_ends_when_told_to_and_rests_meanwhile(stop: StopToken) -> None:
    watcher = PassiveWatcher(
        stop,
        Configuration(),
        OwnProbes(),
        on_news=lambda _: None,
        on_suspicion=lambda: None,
    )
    watcher.see_host(host([]))
    pulse = Pulse("watch", lambda: None, time.monotonic)
    thread = threading.Thread(target=watcher.run, args=(pulse,))
    thread.start()
    time.sleep(0.1)
    stop.set()
    thread.join(1)
    assert not thread.is_alive()


# What becomes of what was found.


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    with open_history(tmp_path / "history.sqlite") as opened:
        yield opened


class Told:
    """A keeper and the telling to it, with a clock of their own."""

    def __init__(self, history: History, stop: StopToken) -> None:
        self.now = 0.0
        self.keeper = Keeper(history, system_clock("a-boot"), [], "invented")
        self.seen = 0
        self.telling = PassiveTelling(
            self.keeper, Stalls(Pen(history)), stop, clock=lambda: self.now
        )

    def offer(self, news: News) -> bool:
        """Whether it was handed over."""
        self.telling.offer(news)
        handed = bool(self.telling._observations)
        self.telling.tell()
        return handed


@pytest.fixture
def told(history: History, stop: StopToken) -> Told:
    return Told(history, stop)


def hanging(world: World) -> tuple[News, News]:
    """News of a machine at rest, and of one with a drive that hangs."""
    world.run(20)
    calm = world.news[-1]
    world.machine.bear(LOAD)
    world.run(30)
    world.machine.drives[4].frozen_until = world.machine.now + 20
    world.run(world.machine.now + 4)
    return calm, world.news[-1]


def test_nothing_is_handed_over_while_there_is_nothing_to_tell(world: World, told: Told) -> None:
    calm, _ = hanging(world)
    for _ in range(20):
        told.now += 2
        assert not told.offer(calm)


def test_a_finding_is_handed_over_at_once_and_then_now_and_again(world: World, told: Told) -> None:
    _, hangs = hanging(world)
    assert told.offer(hangs)
    [incident] = told.keeper.open_incidents
    assert incident.finding.origin is Origin.PASSIVE
    told.now += AGAIN_SECONDS / 2
    assert not told.offer(hangs)
    told.now += AGAIN_SECONDS / 2
    assert told.offer(hangs)


def test_that_it_is_over_is_said_until_it_is_believed(world: World, told: Told) -> None:
    calm, hangs = hanging(world)
    told.offer(hangs)
    assert told.offer(calm)
    told.now += AGAIN_SECONDS
    assert told.offer(calm), "the incident is still open"


def test_an_incident_on_what_is_watched_no_more_is_spoken_for(world: World, told: Told) -> None:
    _, hangs = hanging(world)
    told.offer(hangs)
    nothing = replace(
        hangs,
        observations=tuple(
            replace(each, findings=(), looked_at=frozenset()) for each in hangs.observations
        ),
        causes=frozenset(),
    )
    told.now += AGAIN_SECONDS
    told.telling.offer(nothing)
    assert all(
        each.looked_at == frozenset({f"invented-{NAMES[4]}"}) for each in told.telling._observations
    )


def test_stalls_are_written_together_and_hangs_at_once(
    world: World, told: Told, history: History
) -> None:
    _, hangs = hanging(world)
    world.run(world.machine.now + 25)
    [stall] = [stall for each in world.news for stall in each.stalls]
    calm = replace(hangs, observations=())
    told.offer(replace(calm, stalls=(replace(stall, hang=False),)))
    told.now += STALLS_SECONDS - 1
    told.offer(replace(calm, stalls=(replace(stall, hang=False),)))
    assert not stalls_of(history, None)
    told.now += 1
    told.telling.tell()
    assert len(stalls_of(history, None)) == 2
    told.offer(replace(calm, stalls=(stall,)))
    assert len(stalls_of(history, None)) == 3
