"""The keeper: what the kernel and the passes say becomes incidents, once, over restarts."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from arraygauge.history import Channel, History, open_history, system_clock
from arraygauge.history.incident_log import logged_incidents
from arraygauge.inventory.values import Host, Level
from arraygauge.judge.findings import Matter, Severity
from arraygauge.service.channels import Way
from arraygauge.service.keeper import Keeper
from arraygauge.tell.sender import Message
from invented import FAILED, array, drive, host, member

WHOLE = array(Level.RAID1, [member("sda", 0), member("sdb", 1)], raid_disks=2)
DEGRADED = array(Level.RAID1, [member("sda", 0), member("sdb", **FAILED)], raid_disks=2)


class Receiver:
    """A way of telling that remembers."""

    name = "receiver"

    def __init__(self) -> None:
        self.received: list[Message] = []

    def send(self, message: Message) -> None:
        self.received.append(message)


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    with open_history(tmp_path / "history.sqlite") as opened:
        yield opened


def keeper(history: History, receiver: Receiver) -> Keeper:
    channel = Channel(name=receiver.name, least_severity=Severity.INFORMATION)
    return Keeper(
        history, system_clock("a-boot"), [Way(channel=channel, sender=receiver)], "invented"
    )


def degraded() -> Host:
    """The array has let go of sdb, which is still plugged in."""
    return host([DEGRADED], [drive("sda"), drive("sdb")])


def test_a_member_that_fails_is_one_incident_named_by_its_drive(history: History) -> None:
    receiver = Receiver()
    kept = keeper(history, receiver)
    kept.start()
    kept.see_host(host([WHOLE]))
    assert not kept.open_incidents
    kept.see_host(degraded())
    kept.see_host(degraded())
    kept.stop()
    [incident] = kept.open_incidents
    assert incident.finding.matter is Matter.NO_REDUNDANCY
    assert incident.finding.cause.name == "sdb"
    assert incident.finding.arrays == ("md0",)
    [logged] = logged_incidents(history, 10)
    assert logged.number == incident.number


def test_an_agent_that_ends_and_starts_again_goes_on_with_the_same_incident(
    history: History,
) -> None:
    first = keeper(history, Receiver())
    first.start()
    first.see_host(host([WHOLE]))
    first.see_host(degraded())
    first.stop()
    receiver = Receiver()
    second = keeper(history, receiver)
    second.start()
    second.see_host(degraded())
    second.stop()
    [before], [after] = first.open_incidents, second.open_incidents
    assert (before.number, before.finding.cause) == (after.number, after.finding.cause)
    assert len(logged_incidents(history, 10)) == 1


def test_what_is_whole_again_is_believed_at_the_second_look(
    history: History, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = keeper(history, Receiver())
    kept.start()
    kept.see_host(host([WHOLE]))
    kept.see_host(degraded())
    kept.see_host(host([WHOLE]))
    assert len(kept.open_incidents) == 1, "one look could be a rebuild's handover"
    later = kept._clock
    moment = later()

    def ahead() -> object:
        return type(moment)(
            wall_seconds=moment.wall_seconds + 5,
            uptime_seconds=moment.uptime_seconds + 5,
            boot_id=moment.boot_id,
        )

    monkeypatch.setattr(kept, "_clock", ahead)
    kept.see_host(host([WHOLE]))
    kept.stop()
    assert not kept.open_incidents
    [logged] = logged_incidents(history, 10)
    assert logged.closed_at_seconds is not None


def test_trouble_with_watching_is_told_and_ends(history: History) -> None:
    kept = keeper(history, Receiver())
    kept.start()
    kept.see_trouble("it hangs")
    [incident] = kept.open_incidents
    assert incident.finding.matter is Matter.AGENT_IMPAIRED
    kept.see_trouble(None)
    kept.stop()
    assert not kept.open_incidents
