"""`arraygauge walls` on drives whose shared ceilings only QEMU knows."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest

from lab.agent import CONFIG, SHORT_BURSTS
from lab.guest import Guest
from lab.machine import MIB, Drive, Machine, Transport, Uplink

pytestmark = [pytest.mark.lab, pytest.mark.measures]

DRIVE = 50_000_000
UNCAPPED = 1_000_000_000
PAIRED = ("alder", "birch", "cedar", "elder")
FOUR = ("fir", "hazel", "larch", "maple")
TRANSPORTS = (Transport.VIRTIO, Transport.AHCI, Transport.NVME, Transport.VIRTIO)
UPLINKS = {"left": PAIRED[:2], "right": PAIRED[2:], "wide": FOUR}

MACHINE = Machine(
    drives=tuple(
        Drive(
            name=name,
            transport=transport,
            bytes_per_second=DRIVE,
            size_bytes=128 * MIB,
            uplink=next(uplink for uplink, names in UPLINKS.items() if name in names),
        )
        for names in (PAIRED, FOUR)
        for name, transport in zip(names, TRANSPORTS, strict=True)
    ),
    uplinks=tuple(Uplink(name=name, bytes_per_second=UNCAPPED) for name in UPLINKS),
)


SHORT = SHORT_BURSTS.replace("0.05", "0.1")
"""One burst for each drive."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Drives that are read, and the ceilings that bind: bytes per second by uplink."""

    drives: tuple[str, ...]
    ceilings: dict[str, int]


CASES = {
    "2 + 2 on two ceilings": Case(
        drives=PAIRED, ceilings={"left": 64_000_000, "right": 70_000_000}
    ),
    "4 on one ceiling": Case(drives=FOUR, ceilings={"wide": 110_000_000}),
    "no ceiling": Case(drives=PAIRED, ceilings={}),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What `arraygauge walls --json` said, and the bytes that QEMU counted meanwhile."""

    document: dict[str, Any]
    bytes_read: int

    @property
    def plain_pass_bytes(self) -> int:
        """What reading each member by itself took."""
        return sum(attempt["bytes_read"] for attempt in self.document["alone"].values())

    @property
    def walls(self) -> dict[frozenset[str], float]:
        return {
            frozenset(wall["members"]): wall["bytes_per_second"]
            for wall in self.document["walls"]
            if wall["certain"]
        }


@pytest.fixture(scope="module")
def guest(boot_lab: Callable[[Machine], Guest]) -> Guest:
    return boot_lab(MACHINE)


def find(guest: Guest, case: Case) -> Found:
    """The search among the case's drives, its ceilings in force."""
    guest.write(CONFIG, SHORT)
    for name in UPLINKS:
        guest.limit_uplink(name, case.ceilings.get(name, UNCAPPED))
    devices = [guest.device(name) for name in case.drives]
    before = read_bytes(guest, case.drives)
    done = guest.run_module(
        "arraygauge", "--config", CONFIG, "walls", "--json", *devices, timeout_seconds=180
    )
    assert done.status == 0, done.stdout + done.stderr
    return Found(
        document=json.loads(done.stdout), bytes_read=read_bytes(guest, case.drives) - before
    )


def read_bytes(guest: Guest, drives: tuple[str, ...]) -> int:
    return sum(guest.counters(name).read_bytes for name in drives)


@pytest.mark.parametrize("name", CASES)
def test_members_behind_hidden_ceilings_and_their_rates_are_told(
    guest: Guest, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    """Members exactly, rates within 5 %, with no more than twice a plain pass's bytes."""
    case = CASES[name]
    found = find(guest, case)
    with capsys.disabled():
        print(
            f"\n{name}: plain member pass {found.plain_pass_bytes / 1e6:.0f} MB, "
            f"with the runs together {found.bytes_read / 1e6:.0f} MB "
            f"({found.bytes_read / found.plain_pass_bytes:.2f} ×)"
        )
    wanted = {
        frozenset(guest.device(drive) for drive in UPLINKS[uplink]): rate
        for uplink, rate in case.ceilings.items()
    }
    assert found.walls == pytest.approx(wanted, rel=0.05), found.document
    assert len(found.document["walls"]) == len(wanted)
    assert found.document["unresolved"] == []
    assert found.document["ended_early"] is None
    assert found.bytes_read <= 2 * found.plain_pass_bytes
