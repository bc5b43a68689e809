"""The process that writes to an array which a trial has made, and says what it saw.

One JSON line in on standard input (``probe.trial.rates`` says what is in it), one out on
standard output. It is the only code that opens a block device for writing, and it opens md
devices only: the kernel gives them a major number of their own (Documentation/admin-guide/
devices.txt, 9). A drive cannot be opened by it, whatever it is asked. The open is exclusive, so
that nobody mounts the array meanwhile.

Places and what is counted of them are those of ``reading``, whose loop runs with this writer in
the place of the read. No two transfers are alike to a drive: every sector of one begins with a
number that it never had before. In each 4 KiB the bytes at ``marks`` stay zero, by which the
trial knows its own blocks again (``trial_examining``).
"""

from __future__ import annotations

import errno
import itertools
import json
import os
import stat
import threading
import time
from types import SimpleNamespace

from arraygauge.probe.children.reading import Burst, ProbeError, report
from arraygauge.probe.children.service import receive

MD_MAJOR = 9
SECTOR_BYTES, BLOCK_BYTES = 512, 4096
NUMBERS = 1 << 16


class Writer:
    """Stands for the read of ``reading.Burst``: writes what the buffer is given to hold."""

    def __init__(self, marks: list[int], size: int) -> None:
        self._marks, self._sectors = marks, size // SECTOR_BYTES
        self._numbers = memoryview(os.urandom(8 * (NUMBERS + self._sectors))).cast("Q")
        self._turns = itertools.count()
        self._local = threading.local()

    def __call__(self, fd: int, into: list[memoryview], offset: int) -> int:
        """One transfer; each thread has one buffer, which it fills at its first."""
        heads = getattr(self._local, "heads", None)
        if heads is None:
            heads = self._local.heads = self._fill(into[0])
        # The high bits say which round through the numbers it is: none comes twice.
        lap, turn = divmod(next(self._turns), NUMBERS)
        heads[:] = self._numbers[turn : turn + self._sectors]
        heads[0] ^= lap
        return os.pwritev(fd, into, offset)

    def _fill(self, buffer: memoryview) -> memoryview:
        buffer[:] = os.urandom(len(buffer))
        for mark in self._marks:
            buffer[mark::BLOCK_BYTES] = bytes(len(buffer[mark::BLOCK_BYTES]))
        return buffer.cast("Q")[:: SECTOR_BYTES // 8]


def open_array(request: SimpleNamespace) -> int:
    """A descriptor for direct writing, of an md device and of nothing else. Raises ProbeError."""
    try:
        _check(os.stat(request.path, follow_symlinks=False), request.number)
        flags = os.O_RDWR | os.O_DIRECT | os.O_EXCL | os.O_NOFOLLOW
        fd = os.open(request.path, flags)
        _check(os.fstat(fd), request.number)
        size = os.lseek(fd, 0, os.SEEK_END)
    except OSError as error:
        raise ProbeError("open", error.errno or errno.EIO) from None
    if any(start + length > size for start, length in request.extents):
        raise ProbeError("check", 0, found=f"only {size} bytes long, shorter than planned")
    return fd


def _check(found: os.stat_result, number: list[int]) -> None:
    device = [os.major(found.st_rdev), os.minor(found.st_rdev)]
    if not stat.S_ISBLK(found.st_mode) or device != number or device[0] != MD_MAJOR:
        raise ProbeError("check", 0, found="not the array that the trial made")


def written(burst: Burst) -> list[tuple[int, int]]:
    """Where each place begins, and the bytes written from there on without a gap."""
    size = burst.request.transfer_bytes
    return [
        (
            place.start,
            next((at for at, end in enumerate(place.ends) if not end), len(place.ends)) * size,
        )
        for place in burst.places
    ]


def main() -> None:
    """Serve the one request."""
    received = receive()
    if received is None:
        return
    request, words = received
    begun = time.perf_counter_ns()
    burst = Burst(request, Writer(request.marks, request.transfer_bytes), words)
    flushed = 0
    try:
        fd = open_array(request)
        burst.run(fd)
        flush_begun = time.perf_counter_ns()
        try:
            os.fdatasync(fd)
        except OSError as error:
            raise ProbeError("read", error.errno or errno.EIO) from None
        flushed = time.perf_counter_ns() - flush_begun
    except ProbeError as failure:
        burst.failure = failure
    said = report(burst, None, time.perf_counter_ns() - begun)
    more = {"flush_nanoseconds": flushed, "written": written(burst)}
    print(json.dumps(said | more), flush=True)
