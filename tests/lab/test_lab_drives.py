"""Drives with something odd about them, and fast ones, are as described."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from lab import KIB, MIB, ArraySpec, BadRange, Contents, Guest, Machine, Mapped, Transport
from lab.foreground import Foreground, Work, read
from lab.own_machine import BAD, FAST, FAST_RATE, MACHINE, PIECE_BYTES, RATE

pytestmark = pytest.mark.measures

FIRST = 64 * KIB
"""Enough of a piece to see what is in it."""


@pytest.fixture
def guest(boot_lab: Callable[[Machine], Guest]) -> Guest:
    """The machine that all of these share."""
    return boot_lab(MACHINE)


def read_at(guest: Guest, drive: str, offset: int, size: int) -> tuple[int, str]:
    """Exit status and words of one direct read."""
    done = guest.run(
        f"dd if=/dev/{guest.device(drive)} of=/dev/null iflag=direct,skip_bytes "
        f"bs={size} skip={offset} count=1"
    )
    return done.status, done.stderr


@pytest.mark.parametrize(
    ("share", "pieces"), [(0.0, "0000"), (0.25, "1000"), (0.5, "1010"), (1.0, "1111")]
)
def test_mapped_pieces_are_spread_evenly(share: float, pieces: str) -> None:
    mapped = Mapped(share=share, piece_bytes=MIB)
    assert "".join(str(int(mapped.is_mapped(index * MIB))) for index in range(4)) == pieces


def test_what_cannot_be_laid_out_is_refused() -> None:
    with pytest.raises(ValueError, match="laid out"):
        Mapped(share=0.5, piece_bytes=1000)
    with pytest.raises(ValueError, match="whole sectors"):
        BadRange(start_bytes=512, length_bytes=4096)
    with pytest.raises(ValueError, match="holds nothing"):
        replace(MACHINE.drive("half"), contents=Contents.NULL)


class TestMapped:
    @pytest.mark.parametrize("piece", range(4))
    def test_every_other_piece_is_zeros(self, guest: Guest, piece: int) -> None:
        device, skip = guest.device("half"), piece * PIECE_BYTES // FIRST
        command = f"dd if=/dev/{device} iflag=direct bs={FIRST} skip={skip} count=1"
        distinct = len(set(guest.run(command).checked().stdout))
        assert distinct > 100 if piece % 2 == 0 else distinct == 1

    def test_the_mapped_half_alone_counts_against_the_rate(self, guest: Guest) -> None:
        """Reading all of it in sequence goes twice as fast as the half that is mapped."""
        work = Work(path=f"/dev/{guest.device('half')}", seconds=4, depth=4)
        assert read(guest, work).bytes_per_second / RATE == pytest.approx(2, rel=0.2)

    def test_what_is_written_is_mapped_from_then_on(self, guest: Guest) -> None:
        device, place = f"/dev/{guest.device('half')}", PIECE_BYTES // 4096
        guest.run(f"printf kept | dd of={device} bs=4096 seek={place} conv=sync oflag=direct")
        found = guest.run(f"dd if={device} bs=4096 skip={place} count=1 iflag=direct")
        assert found.checked().stdout.startswith("kept")


class TestBadRange:
    # The kernel's words: an NVMe media error becomes ENODATA (drivers/nvme/host/core.c,
    # nvme_error_status), the others' EIO.
    @pytest.mark.parametrize(
        ("transport", "words"),
        [
            (Transport.VIRTIO, "Input/output error"),
            (Transport.AHCI, "Input/output error"),
            (Transport.NVME, "No data available"),
        ],
    )
    def test_reads_in_the_range_fail_and_all_around_it_succeed(
        self, guest: Guest, transport: Transport, words: str
    ) -> None:
        drive, end = f"{transport}-bad", BAD.start_bytes + BAD.length_bytes
        for offset, size in ((BAD.start_bytes, MIB), (end - 4 * KIB, 4 * KIB)):
            status, said = read_at(guest, drive, offset, size)
            assert (status, words in said) == (1, True), said
        for offset in (BAD.start_bytes - MIB, end):
            assert read_at(guest, drive, offset, MIB)[0] == 0


class TestCounters:
    @pytest.mark.parametrize("drive", ["half", "virtio-bad", "ahci-bad", "f1"])
    def test_every_read_that_reaches_a_drive_is_counted(self, guest: Guest, drive: str) -> None:
        before = guest.counters(drive)
        assert guest.counters(drive) == before
        read_at(guest, drive, 0, MIB)
        after = guest.counters(drive)
        assert after.read_bytes - before.read_bytes == MIB
        assert after.reads > before.reads
        assert (after.writes, after.written_bytes) == (before.writes, before.written_bytes)

    def test_writes_are_counted(self, guest: Guest) -> None:
        before = guest.counters("f0").written_bytes
        device = guest.device("f0")
        guest.run(f"dd if=/dev/zero of=/dev/{device} bs=64K count=2 oflag=direct").checked()
        assert guest.counters("f0").written_bytes - before == 128 * KIB


def test_the_block_size_is_as_described(guest: Guest) -> None:
    for drive in MACHINE.drives:
        queue = f"/sys/block/{guest.device(drive.name)}/queue"
        assert guest.read(f"{queue}/logical_block_size") == f"{drive.block_bytes}\n"


@pytest.mark.parametrize("drive", ["half", "virtio-bad"])
def test_odd_drives_hang_and_resume_as_others_do(guest: Guest, drive: str) -> None:
    guest.hang(drive)
    running = guest.start(["dd", f"if=/dev/{guest.device(drive)}", "of=/dev/null", "count=1"])
    with pytest.raises(TimeoutError):
        list(running.follow(1))
    guest.resume(drive)
    assert running.wait(5).status == 0


class TestFast:
    def test_fast_drives_hold_their_rate_side_by_side(self, guest: Guest) -> None:
        """Counted after the 0.1 s worth of bytes that a throttle lets pass at once."""
        works = [
            Work(path=f"/dev/{guest.device(drive)}", seconds=2, depth=4, random=True)
            for drive in FAST
        ]
        readers = [Foreground(guest, work) for work in works]
        for reader in readers:
            reader.begin()
        for reader in readers:
            slots = reader.report().bytes_per_10_ms[50:190]
            assert sum(slots) / 1.4 / FAST_RATE == pytest.approx(1, abs=0.05)

    def test_a_stripe_of_fast_drives_is_as_fast_as_all(self, guest: Guest) -> None:
        guest.create(ArraySpec(name="md9", level="raid0", members=FAST))
        work = Work(path="/dev/md9", seconds=2, depth=8, transfer_bytes=2 * MIB)
        slots = read(guest, work).bytes_per_10_ms[50:190]
        assert sum(slots) / 1.4 / (4 * FAST_RATE) == pytest.approx(1, abs=0.05)
