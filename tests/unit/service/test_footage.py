"""A running agent's word on promised footage: in the first message, and over a restart."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import cast

import pytest

from arraygauge.config import Configuration, parse_configuration
from arraygauge.config.footage import FootageSection, footage_asked_for
from arraygauge.errors import OperatorError, UnknownDeviceError
from arraygauge.history import Channel, Clock, History, open_history, system_clock
from arraygauge.history.incident_log import LoggedIncident, logged_incidents
from arraygauge.history.moment import Moment
from arraygauge.inventory.values import Array, Host, Level
from arraygauge.judge import ArrayVerdict, Grounds, Status
from arraygauge.judge.findings import Matter, Severity
from arraygauge.judge.footage_values import Promise
from arraygauge.probe.values import Attempt, Skipped, SkipReason
from arraygauge.service.channels import Way
from arraygauge.service.footage import carried_by
from arraygauge.service.grounds import grounds_of
from arraygauge.service.keeper import Keeper
from arraygauge.service.probing import Progress
from arraygauge.service.survey import Surveyor, judged
from arraygauge.service.targets import choose_targets
from arraygauge.tell.sender import Message
from arraygauge.theory.footage import stream_at
from invented import FAILED, array, drive, host, measured, member

NAMES = ("sda", "sdb", "sdc", "sdd")
WHOLE = array(Level.RAID5, [member(name, slot) for slot, name in enumerate(NAMES)], raid_disks=4)
LOST = replace(
    WHOLE,
    degraded=1,
    members=tuple(
        replace(each, **FAILED) if each.name == "sdb" else each for each in WHOLE.members
    ),
)
DRIVES = [drive(name) for name in NAMES]


class Silent:
    """A way of telling that nobody listens to."""

    name = "silent"

    def send(self, message: Message) -> None:
        """Nothing."""


class Hours:
    """A clock that an hour passes on with each look at it."""

    def __init__(self) -> None:
        self._clock = system_clock("a-boot")
        self._hours = 0

    def __call__(self) -> Moment:
        self._hours += 1
        now = self._clock()
        return replace(now, uptime_seconds=now.uptime_seconds + 3600.0 * self._hours)


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    with open_history(tmp_path / "history.sqlite") as opened:
        yield opened


def keeper(history: History, clock: Clock) -> Keeper:
    channel = Channel(name="silent", least_severity=Severity.INFORMATION)
    kept = Keeper(history, clock, [Way(channel=channel, sender=Silent())], "invented")
    kept.start()
    return kept


def a_pass(own: float, streams: int, held: Array = WHOLE) -> Status:
    """Members give 200 MB/s each, and a stream takes 100."""
    promise = Promise(
        name="interview",
        stream=stream_at(Fraction(800)),
        streams=streams,
        headroom=Fraction(0),
    )
    seen = host([held], DRIVES)
    attempts: Mapping[str, Attempt] = {
        **{name: measured(name, 200e6) for name in NAMES},
        "md0": measured("md0", own),
    }
    grounds = Grounds(footage={"md0": (promise,)})
    return judged(seen, choose_targets(seen, ()), attempts, grounds)


def logged(history: History) -> list[LoggedIncident]:
    return list(logged_incidents(history, 10))


def test_the_message_of_a_loss_says_at_once_that_the_promise_no_longer_holds(
    history: History,
) -> None:
    kept = keeper(history, Hours())
    kept.see_host(host([WHOLE], DRIVES))
    kept.see_status(a_pass(800e6, 7))
    kept.see_host(host([LOST], DRIVES))
    kept.stop()
    [incident] = logged(history)
    document = json.loads(incident.document)
    assert document["matter"] == Matter.NO_REDUNDANCY
    assert document["words"]["meaning"].endswith(
        "The promised 7 streams of interview no longer hold: 6 are carried, as it is degraded."
    )
    [beside] = document["also"]
    assert beside["matter"] == Matter.FOOTAGE
    assert beside["facts"]["broken"][0]["carried"] == 6


def test_a_promise_nothing_explains_is_its_own_incident_and_outlives_a_restart(
    history: History,
) -> None:
    clock = Hours()
    first = keeper(history, clock)
    first.see_status(a_pass(790e6, 8))
    first.see_status(a_pass(790e6, 8))
    first.stop()
    [incident] = first.open_incidents
    assert incident.finding.matter is Matter.FOOTAGE
    second = keeper(history, clock)
    second.see_host(host([WHOLE], DRIVES))
    second.see_status(a_pass(790e6, 8))
    assert [each.number for each in second.open_incidents] == [incident.number]
    second.see_status(a_pass(820e6, 8))
    second.see_host(host([WHOLE], DRIVES))
    second.stop()
    assert second.open_incidents == ()
    [logged_one] = logged(history)
    assert [each.kind for each in logged_one.changes] == ["opened", "closed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Invented:
    """Stands for a surveyor: passes over an invented machine, judged by the configuration."""

    hosts: Hosts
    configuration: Configuration
    own: float | None = 800e6

    def survey(self, names: tuple[str, ...], progress: Progress) -> Status:
        seen = self.hosts.read()
        attempts: dict[str, Attempt] = {name: measured(name, 200e6) for name in NAMES}
        attempts["md0"] = measured("md0", self.own) if self.own else IN_USE
        targets = choose_targets(seen, names)
        return judged(seen, targets, attempts, grounds_of(self.configuration, seen))


class Hosts:
    """The same machine at each look."""

    def read(self) -> Host:
        return host([WHOLE], DRIVES)


IN_USE = Skipped(device="md0", reason=SkipReason.OTHERS_AT_WORK, detail="md0 is in use")
DECLARED = '[[footage]]\narray = "/dev/md0"\nmegabits_per_second = 800\nstreams = 4\n'


def asking(configuration: str, asked: FootageSection | None, name: str = "md0") -> ArrayVerdict:
    invented = Invented(hosts=Hosts(), configuration=parse_configuration(configuration, "f.toml"))
    return carried_by(cast("Surveyor", invented), name, asked, lambda *_: None)


def test_an_array_is_asked_for_what_is_declared_of_it() -> None:
    [found] = asking(DECLARED, None).footage
    assert found.promise.streams == 4
    assert found.now is not None


def test_what_is_asked_for_stands_for_all_that_is_declared() -> None:
    section = footage_asked_for(array="md0", megabits_per_second=80)
    [found] = asking(DECLARED, section).footage
    assert found.promise.stream.bits_per_second == 80_000_000
    assert found.promise.streams is None


@pytest.mark.parametrize("name", ["/dev/md0", "invented-md0"])
def test_an_array_is_asked_by_any_of_its_names(name: str) -> None:
    section = footage_asked_for(array=name, megabits_per_second=80)
    assert asking("", section, name).footage


def test_nothing_declared_and_nothing_asked_is_a_mistake_with_a_remedy() -> None:
    with pytest.raises(OperatorError, match="declares no footage") as caught:
        asking("", None)
    assert "--megabits" in caught.value.remedy
    with pytest.raises(UnknownDeviceError, match="no such array"):
        asking(DECLARED, None, "sda")
