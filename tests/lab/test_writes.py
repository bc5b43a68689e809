"""`arraygauge check --write` into an own file on a filesystem on a real md array."""

from __future__ import annotations

import sys
from collections.abc import Callable

import pytest

from lab.agent import AMPLE_BUDGET, check
from lab.filesystems import add_files, checksums, fill_up, mounted
from lab.guest import Guest
from lab.machine import MIB, ArraySpec, Drive, Machine, Transport

pytestmark = [pytest.mark.lab, pytest.mark.measures]

DRIVE = 40_000_000
NAMES = ("alder", "birch", "cedar", "elder")
MACHINE = Machine(
    drives=tuple(
        Drive(name=name, transport=transport, bytes_per_second=DRIVE)
        for name, transport in zip(NAMES, (Transport.VIRTIO, Transport.NVME) * 2, strict=True)
    ),
    arrays=(ArraySpec(name="md0", level="raid10", members=NAMES, layout=0x102),),
)
FILE_BYTES, BURST_BYTES = 64 * MIB, 160 * MIB
PLAN = (
    "[probe]\nlongest_burst_seconds = 0.4\nmax_seconds = 0.5\n"
    + AMPLE_BUDGET
    + '[write_probe]\ndirectories = ["{directory}/own"]\n'
    f"file_bytes = {FILE_BYTES}\nburst_bytes = {BURST_BYTES}\nlongest_seconds = 10\n"
)
RATING = (
    '[[drive]]\nmatch = "{name}"\nread_mb_per_second = 40\nwrite_mb_per_second = 40\n'
    "endurance_terabytes_written = 10\n"
)
CHARGED = """
import sqlite3
rows = sqlite3.connect("file:/var/lib/arraygauge/history.sqlite?mode=ro", uri=True).execute(
    "SELECT stable_id, sum(written_bytes) FROM spending JOIN device ON device.id = device"
    " GROUP BY stable_id"
)
for row in rows:
    print(*row)
"""


def charged(guest: Guest) -> dict[str, int]:
    """Bytes written to each device, by stable id, as the agent wrote them down."""
    lines = guest.run([sys.executable, "-c", CHARGED]).checked().stdout.splitlines()
    return {name: int(size) for name, size in (line.rsplit(" ", 1) for line in lines)}


def test_an_array_is_written_to_as_theory_says_and_nothing_else_is_touched(
    boot_lab: Callable[[Machine], Guest],
) -> None:
    """Two copies of each byte on four drives: twice one drive's rate (arithmetic), and a tenth
    of a second's worth more that a throttle lets pass at first."""
    guest = boot_lab(MACHINE)
    names = [guest.device(name) for name in NAMES]
    with mounted(guest, "md0") as directory:
        config = PLAN.format(directory=directory)
        config += "".join(RATING.format(name=name) for name in names)
        add_files(guest, f"{directory}/films", count=6, size_bytes=MIB)
        before = checksums(guest, f"{directory}/films")
        on_drives = [guest.counters(name).written_bytes for name in NAMES]

        _, document = check(guest, "md0", "--write", config=config)
        [written] = document["writes"]
        assert written["measured"]["outcome"] == "completed", written["explanation"]
        assert written["pace"] == "as expected", written["explanation"]
        at_first = 0.1 * 2 * DRIVE * 2 * DRIVE / BURST_BYTES
        assert written["judged_bytes_per_second"] == pytest.approx(2 * DRIVE + at_first, rel=0.06)
        assert written["measured"]["bytes_written"] == FILE_BYTES + BURST_BYTES

        [array] = document["arrays"]
        spent = charged(guest)
        assert spent[array["stable_id"]] == FILE_BYTES + BURST_BYTES
        ids = [device["stable_id"] for device in document["devices"]]
        assert [spent[stable_id] for stable_id in ids] == [(FILE_BYTES + BURST_BYTES) // 2] * 4
        for name, earlier in zip(NAMES, on_drives, strict=True):
            really = guest.counters(name).written_bytes - earlier
            assert really == pytest.approx((FILE_BYTES + BURST_BYTES) // 2, abs=4 * MIB)

        fill_up(guest, directory)
        _, document = check(guest, "md0", "--write", config=config)
        [refused] = document["writes"]
        assert refused["measured"]["outcome"] == "no room"
        assert "must stay free" in refused["explanation"]
        assert refused["measured"]["bytes_written"] == 0
        assert charged(guest)[array["stable_id"]] == FILE_BYTES + BURST_BYTES
        assert checksums(guest, f"{directory}/films") == before
