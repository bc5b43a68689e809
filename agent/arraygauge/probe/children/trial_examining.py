"""The process that looks whether drives hold anything, before a trial may build on them.

One JSON line in on standard input (``probe.trial.examine`` says what is in it), one out on
standard output. It opens each drive read-only and, unless md has claimed it already,
exclusively: the kernel refuses that while a mount, swap, md, device-mapper or anybody else's
exclusive open has it (open(2), O_EXCL on block devices).

Two questions are asked of each drive. Known signatures are looked for by libblkid, all of them
and those with a wrong checksum too. Then the first and last MiB, and a block in each of a
thousand strata between them, have to be blank: bytes that are all 0x00 or all 0xFF, or what
an earlier trial of this machine wrote. Such blocks are random but for their ``marks``: places
in each 4 KiB that a trial keeps at zero, which every sum of such blocks, parity included, keeps.
"""

from __future__ import annotations

import ctypes
import errno
import json
import os
import random
import stat
from types import SimpleNamespace

from arraygauge.probe.children.offsets import aligned_buffers
from arraygauge.probe.children.service import receive

BLOCK_BYTES = 4096
ENDS_BYTES = 1 << 20
PLACES = 1000
LEAST_STRATUM_BYTES = 1 << 16
ZEROS, ONES = bytes(BLOCK_BYTES), b"\xff" * BLOCK_BYTES
LIBRARY = "libblkid.so.1"
MOST_SIGNATURES = 64
MOST_ZEROS_BESIDES = 64
"""In the rest of a trial's block: 16 are usual there, and data that is hardly any has hundreds."""

# <blkid/blkid.h>, from memory; the lab's tests hold each against real signatures.
SUPERBLOCK_FLAGS = (1 << 1) | (1 << 3) | (1 << 5) | (1 << 7) | (1 << 9) | (1 << 10)
"""Label, UUID, type, usage, magic, and wrong checksums as well."""
PARTITION_FLAGS = (1 << 1) | (1 << 3)
"""Look for a GPT whatever the first sector says, and tell its magic."""


class ExaminingError(Exception):
    """What kept a drive from being looked at: the step, the kernel's error number, where."""

    def __init__(self, step: str, number: int = 0, offset: int | None = None) -> None:
        super().__init__(step, number, offset)
        self.step, self.number, self.offset = step, number, offset


class Library:
    """libblkid by its C functions; OSError where it is not installed."""

    def __init__(self) -> None:
        self._lib = ctypes.CDLL(LIBRARY)
        self._lib.blkid_new_probe.restype = ctypes.c_void_p

    def signatures(self, fd: int, size: int) -> list[tuple[str, str]]:
        """Kind and name of each: a filesystem, a member of something, a partition table."""
        lib = self._lib
        probe = ctypes.c_void_p(lib.blkid_new_probe())
        if probe.value is None:
            raise ExaminingError("signatures")
        try:
            if lib.blkid_probe_set_device(probe, fd, ctypes.c_int64(0), ctypes.c_int64(size)):
                raise ExaminingError("signatures")
            lib.blkid_probe_enable_superblocks(probe, 1)
            lib.blkid_probe_set_superblocks_flags(probe, SUPERBLOCK_FLAGS)
            lib.blkid_probe_enable_partitions(probe, 1)
            lib.blkid_probe_set_partitions_flags(probe, PARTITION_FLAGS)
            found: list[tuple[str, str]] = []
            while (status := lib.blkid_do_probe(probe)) == 0 and len(found) < MOST_SIGNATURES:
                found.append(self._one(probe))
            if status < 0:
                raise ExaminingError("signatures")
            return found
        finally:
            lib.blkid_free_probe(probe)

    def _one(self, probe: ctypes.c_void_p) -> tuple[str, str]:
        table = self._value(probe, b"PTTYPE")
        if table is not None:
            return "partition table", table
        return self._value(probe, b"USAGE") or "signature", self._value(probe, b"TYPE") or "unknown"

    def _value(self, probe: ctypes.c_void_p, name: bytes) -> str | None:
        data = ctypes.c_char_p()
        if self._lib.blkid_probe_lookup_value(probe, name, ctypes.byref(data), None) != 0:
            return None
        return (data.value or b"").decode(errors="replace")


def open_drive(path: str, number: list[int], *, exclusively: bool, directly: bool) -> int:
    """A read-only descriptor of the block device with that number. Raises ExaminingError."""
    flags = os.O_RDONLY | os.O_NOFOLLOW | (os.O_EXCL if exclusively else 0)
    try:
        _check(os.stat(path, follow_symlinks=False), number)
        fd = os.open(path, flags | (os.O_DIRECT if directly else 0))
    except OSError as error:
        raise ExaminingError("open", error.errno or errno.EIO) from None
    try:
        _check(os.fstat(fd), number)
    except ExaminingError:
        os.close(fd)
        raise
    return fd


def _check(found: os.stat_result, number: list[int]) -> None:
    rdev = [os.major(found.st_rdev), os.minor(found.st_rdev)]
    if not stat.S_ISBLK(found.st_mode) or rdev != number:
        raise ExaminingError("check")


def places(size: int, seed: int) -> list[tuple[int, int]]:
    """Offsets and lengths to look at, in order: both ends whole, and a block of each stratum."""
    ends = min(ENDS_BYTES, size // 2 // BLOCK_BYTES * BLOCK_BYTES)
    last = size // BLOCK_BYTES * BLOCK_BYTES
    middle = (last - 2 * ends) // BLOCK_BYTES
    count = min(PLACES, middle * BLOCK_BYTES // LEAST_STRATUM_BYTES)
    chance = random.Random(seed)  # noqa: S311 (no secrets here)
    blocks = [
        chance.randrange(middle * at // count, middle * (at + 1) // count) for at in range(count)
    ]
    between = [(ends + block * BLOCK_BYTES, BLOCK_BYTES) for block in blocks]
    return [(0, ends), *between, (last - ends, ends)]


def first_strange(
    fd: int, wanted: list[tuple[int, int]], marks: list[list[int]]
) -> tuple[int | None, int]:
    """Where a block lies that is not blank and no trial's, if there is one; how many are a
    trial's."""
    [buffer] = aligned_buffers(1, max(length for _, length in wanted))
    trial_blocks = 0
    for offset, length in wanted:
        into = buffer[:length]
        try:
            got = os.preadv(fd, [into], offset)
        except OSError as error:
            raise ExaminingError("read", error.errno or errno.EIO, offset) from None
        if got < length:
            raise ExaminingError("read", 0, offset + got)
        for at in range(0, length, BLOCK_BYTES):
            block = into[at : at + BLOCK_BYTES]
            if block in (ZEROS, ONES):
                continue
            if not is_trial_block(block, marks):
                return offset + at, trial_blocks
            trial_blocks += 1
    return None, trial_blocks


def is_trial_block(block: memoryview, marks: list[list[int]]) -> bool:
    """Whether all places of one trial's mark are zero, which others' random data has once in
    2^256, and the rest is random, which stored files and tables are not."""
    zeros = bytes(block).count(0)
    return any(
        zeros <= len(mark) + MOST_ZEROS_BESIDES and not any(block[place] for place in mark)
        for mark in marks
    )


def examine(
    library: Library, drive: SimpleNamespace, request: SimpleNamespace
) -> dict[str, object]:
    """One drive. The exclusive claim is held all the while."""
    claim = open_drive(drive.path, drive.number, exclusively=drive.exclusively, directly=False)
    try:
        size = os.lseek(claim, 0, os.SEEK_END)
        os.posix_fadvise(claim, 0, 0, os.POSIX_FADV_DONTNEED)
        signatures = library.signatures(claim, size)
        direct = open_drive(drive.path, drive.number, exclusively=False, directly=True)
        try:
            wanted = places(size, request.seed)
            strange, trial_blocks = first_strange(direct, wanted, request.marks)
        finally:
            os.close(direct)
        os.posix_fadvise(claim, 0, 0, os.POSIX_FADV_DONTNEED)
    finally:
        os.close(claim)
    return {
        "step": "done",
        "number": 0,
        "offset": None,
        "size": size,
        "signatures": signatures,
        "strange": strange,
        "places": len(wanted),
        "trial_blocks": trial_blocks,
    }


def main() -> None:
    """Serve the one request."""
    received = receive()
    if received is None:
        return
    request, _ = received
    try:
        library = Library()
    except (OSError, AttributeError) as error:
        print(json.dumps({"library": str(error), "drives": []}), flush=True)
        return
    found = []
    for each in request.drives:
        try:
            found.append(examine(library, SimpleNamespace(**each), request))
        except ExaminingError as failure:
            found.append(vars(failure))
    print(json.dumps({"library": None, "drives": found}), flush=True)
