"""An invented machine with a month behind it, for reports."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from arraygauge.history import Measurements, Outbox, Pen, Records, open_history, records_of
from arraygauge.history.moment import Moment
from arraygauge.inventory.values import Host, Level, Link, LinkKind, LinkRate
from arraygauge.judge import Grounds, Status, assess_array, assess_device, peer_references
from arraygauge.judge.incidents import IncidentBook, advance
from arraygauge.probe.values import Attempt, Skipped, SkipReason
from arraygauge.tell.incident_json import words_for
from invented import array, drive, host, measured, member
from unit.history.troubles import finding, looked

NOW = Moment(wall_seconds=time.time(), uptime_seconds=9000.0, boot_id="invented")
NAMES = ("sda", "sdb", "sdc", "sdd")
RATE = LinkRate(bits_per_second_per_lane=6_000_000_000, lanes=1)


def machine(model: str = "Invented Drive") -> Host:
    """A RAID 5 of four drives, each on a link of its own."""
    links = tuple(
        Link(
            link_id=f"ata-{name}",
            kind=LinkKind.SATA,
            name=f"ata{index}",
            negotiated=RATE,
            maximum=RATE,
            parent_id=None,
        )
        for index, name in enumerate(NAMES)
    )
    drives = tuple(drive(name, link_ids=(f"ata-{name}",), model=model) for name in NAMES)
    members = [member(name, slot) for slot, name in enumerate(NAMES)]
    return replace(host([array(Level.RAID5, members)], drives, links), problems=())


def passed(there: Host, ago_seconds: float, slow: float = 1.0, **skipped: str) -> Status:
    """A pass so long ago; ``slow`` is how fast sdb is, ``skipped`` are reasons by name."""
    at = NOW.wall_seconds - ago_seconds
    rates = dict.fromkeys(NAMES, 150000000.0) | {"sdb": slow * 150e6, "md0": slow * 600e6}
    attempts: dict[str, Attempt] = {
        name: replace(
            measured(name, rate),
            started_at_seconds=at,
            temperature_celsius=36.0,
            low_bytes_per_second=0.98 * rate,
            high_bytes_per_second=1.02 * rate,
        )
        for name, rate in rates.items()
    }
    for name, why in skipped.items():
        attempts[name] = Skipped(device=name, reason=SkipReason.OTHERS_AT_WORK, detail=why)
    peers = peer_references(there, attempts)
    drives = [each for each in there.devices if each.name in NAMES]
    return Status(
        host=replace(there, taken_at_seconds=at),
        arrays=tuple(assess_array(there, each, attempts, Grounds()) for each in there.arrays),
        devices=tuple(
            assess_device(there, each, attempts[each.name], peers, Grounds()) for each in drives
        ),
        seconds=3.0,
    )


def live_through(path: Path, there: Host, *, slow: float = 1.0) -> None:
    """Twenty days of passes, the last five with sdb as ``slow``, and an incident that is open."""
    with open_history(path) as history:
        pen = Pen(history)
        for quarter in range(80, 0, -1):
            pace = slow if quarter <= 20 else 1.0
            Measurements(pen).add(records_of(passed(there, quarter * 21600.0, pace)))
        _, changes = advance(IncidentBook(), looked(finding("sdb")), NOW.uptime_seconds - 9000.0)
        Records(pen, Outbox(pen)).record(
            changes,
            lambda change: words_for(
                "invented", lambda m: NOW.wall_seconds - NOW.uptime_seconds + m, change
            ),
            [],
            NOW,
        )


class InventedReader:
    """Reads the same machine each time."""

    def __init__(self, there: Host) -> None:
        self._there = there

    def read(self) -> Host:
        return self._there


def reader_of(there: Host) -> Any:
    @contextmanager
    def reading() -> Iterator[InventedReader]:
        yield InventedReader(there)

    return reading
