"""An invented machine of so many arrays of four drives, everything about which is known."""

from __future__ import annotations

from dataclasses import replace

from arraygauge.inventory.values import Level, Link, LinkKind, LinkRate
from arraygauge.judge import Grounds, Status, assess_array, assess_device
from arraygauge.judge.findings import Cause, Finding, Matter, Origin, Severity
from arraygauge.judge.incidents import Incident
from arraygauge.probe.values import Attempt
from arraygauge.tell.channel_state import ChannelState
from arraygauge.tell.metrics import BudgetUse, StatusCollector
from arraygauge.theory import MemberRate, Source
from invented import array, drive, host, measured, member

SIX_GIGABITS = LinkRate(bits_per_second_per_lane=6_000_000_000, lanes=1)
RATING = MemberRate(read_bytes_per_second=151e6, write_bytes_per_second=None, source=Source.RATED)


def large_status(array_count: int) -> Status:
    """Ids as long as real ones: a WWN, an array's UUID."""
    links = [_link(number) for number in range(4 * array_count)]
    drives = [
        drive(
            f"sd{chr(97 + number // 26)}{chr(97 + number % 26)}",
            stable_id=f"wwn-0x5000c500{number:08x}",
            model="Invented Drive 4TB",
            link_ids=(link.link_id,),
        )
        for number, link in enumerate(links)
    ]
    arrays = [
        array(
            Level.RAID5,
            [member(drives[number * 4 + slot].name, slot) for slot in range(4)],
            name=f"md{number}",
            stable_id=f"md-{number:032x}",
        )
        for number in range(array_count)
    ]
    machine = host(arrays, drives, links)
    attempts: dict[str, Attempt] = {
        each.name: replace(
            measured(each.name, 150e6 + 1234.5 * number), temperature_celsius=30.5 + number % 20
        )
        for number, each in enumerate(drives)
    }
    attempts |= {each.name: measured(each.name, 440.123e6) for each in arrays}
    grounds = Grounds(rated={each.name: RATING for each in drives})
    return Status(
        host=machine,
        arrays=tuple(assess_array(machine, each, attempts, grounds) for each in arrays),
        devices=tuple(
            assess_device(machine, each, attempts[each.name], {}, grounds) for each in drives
        ),
        seconds=300.0,
    )


def large_collector(array_count: int = 16) -> StatusCollector:
    """All of it published, with a few incidents and two channels."""
    status = large_status(array_count)
    collector = StatusCollector()
    collector.publish(status)
    collector.publish_budget(
        [
            BudgetUse(device_id=each.device.stable_id, day_bytes=123_456_789, left_ratio=0.87654)
            for each in status.devices
        ]
    )
    collector.publish_channels([ChannelState(channel=name) for name in ("journal", "desk")])
    collector.publish_incidents([_incident(number) for number in (0, 1)])
    collector.publish_interval(3600.0)
    collector.note_heartbeat(1e9)
    return collector


def _link(number: int) -> Link:
    return Link(
        link_id=f"pci0000:00/0000:00:{number % 32:02x}.0/ata{number + 1}/link{number + 1}",
        kind=LinkKind.SATA,
        name=f"link{number + 1}",
        negotiated=SIX_GIGABITS,
        maximum=SIX_GIGABITS,
        parent_id=None,
    )


def _incident(number: int) -> Incident:
    finding = Finding(
        origin=Origin.MEASURED,
        cause=Cause(stable_id=f"wwn-0x5000c500{number:08x}", name=f"sda{number}"),
        matter=Matter.SLOW_MEMBER,
        severity=Severity.MAJOR,
        arrays=(f"md{number}",),
        signature="",
        facts=None,
    )
    return Incident(
        number=number, finding=finding, worst=finding.severity, opened=0.0, seen=0.0, told=0.0
    )
