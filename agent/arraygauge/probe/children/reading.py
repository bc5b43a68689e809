"""The child that probes: reads one device with direct I/O and says what it saw.

Started as ``python -I -S child.py``; imports nothing of this package. One JSON line
in on standard input (``runner`` says what is in it), one out on standard output
(``report``). It opens one path, read-only, and writes to nothing but its standard
output and the counter of bytes that its parent shares with it.

How the rate is kept honest. On a slow drive one transfer can take a tenth of the
time there is, so counting "what completed in half a second" would be wrong by as
much. The counted window therefore begins *at* a completion (the first after the
warm-up; its own bytes are not counted) and ends *at* one (the first after the
wanted time; its bytes are). Both ends follow one rule, so completions that come in
clusters bias nothing. The slices that show the spread are cut alike. When places
or bytes run out before the time, the last whole slice ends the window: after it
the queue only drains.
"""

from __future__ import annotations

import ctypes
import errno
import json
import mmap
import os
import signal
import stat
import sys
import threading
import time
from array import array
from collections.abc import Callable, Iterator
from itertools import cycle
from types import SimpleNamespace

NANOSECONDS = 1_000_000_000
SLICES, SLICE_NANOSECONDS = 16, 20_000_000  # the counted time is cut so finely: more, or shorter
WARM_UP_SHARE = 4  # a quarter of its bytes at most, or a fast drive would spend all on warming up
PATIENCE = 2  # times the wanted seconds, after which a very slow drive's next extent is left out
PIECES, PIECE_BYTES = 16, 512  # evenly spread; a transfer is taken for zero when all of them are
ZERO_PIECE = memoryview(bytes(PIECE_BYTES)).cast("Q")

Reader = Callable[[int, list[memoryview], int], int]  # os.preadv


class ProbeError(Exception):
    """What stopped the probe: at which step, the kernel's error number (0: none), where, why."""

    def __init__(self, step: str, number: int, offset: int | None = None, found: str = "") -> None:
        super().__init__(step, number, offset, found)
        self.step, self.number, self.offset, self.found = step, number, offset, found


class Histogram:
    """Latencies in bins a thirty-second of their value wide: bounded memory, 1.6 % at worst."""

    def __init__(self) -> None:
        self.counts = array("Q", bytes(8 * 32 * 60))
        self.maximum = 0

    def add(self, nanoseconds: int) -> None:
        shift = max(nanoseconds.bit_length() - 6, 0)
        self.counts[32 * shift + (nanoseconds >> shift)] += 1
        self.maximum = max(self.maximum, nanoseconds)

    def bins(self) -> list[tuple[int, int]]:
        """(nanoseconds at the middle of the bin, how many), the empty ones left out."""
        return [(_middle(index), count) for index, count in enumerate(self.counts) if count]


def _middle(index: int) -> int:
    shift = max(index // 32 - 1, 0)
    return ((index - 32 * shift) << shift) + (1 << shift) // 2


class Window:
    """Counts between two completions; see the top of this file. Times in nanoseconds."""

    def __init__(self, start: int, warm_until: int, warm_bytes: int, length: int) -> None:
        self.start, self.length = start, length
        self.warm_until, self.warm_bytes = warm_until, warm_bytes
        self.closed = False
        self.opened = self.last = 0
        self.slices: list[tuple[int, int]] = []
        self.slice_length = min(length // SLICES, SLICE_NANOSECONDS)
        self.slice_begun = self.slice_bytes = 0

    def complete(self, now: int, size: int) -> bool:
        """Take one completion, and say whether it counts; ``now`` never goes back."""
        if self.closed:
            return False
        if not self.opened:
            self.warm_bytes -= size
            if now >= self.warm_until or self.warm_bytes <= 0:
                self.opened = self.last = self.slice_begun = now
            return False
        self.last = now
        self.slice_bytes += size
        if now - self.slice_begun >= self.slice_length:
            self.slices.append((self.slice_bytes, now - self.slice_begun))
            self.slice_begun, self.slice_bytes = now, 0
        self.closed = now - self.opened >= self.length
        return True

    def run_out(self) -> None:
        """Nothing is left to read; a piece left over after whole slices is not counted."""
        if self.slices and not self.closed:
            self.last, self.slice_bytes = self.slice_begun, 0
        self.closed = True

    def report(self) -> dict[str, object]:
        """Bytes and nanoseconds of each whole slice, and of the piece left over."""
        rest = (self.slice_bytes, self.last - self.slice_begun)
        return {"start": self.start, "slices": self.slices, "rest": rest}


class Burst:
    """All that one request reads, and the tally of it."""

    def __init__(self, request: SimpleNamespace, read: Reader, progress: memoryview) -> None:
        self.request, self.read, self.progress = request, read, progress
        self.lock = threading.Lock()
        self.latencies = Histogram()
        self.windows: list[Window] = []
        self.read_bytes = self.zero_bytes = self.allowance = 0
        self.budget_spent = False
        self.failure: ProbeError | None = None

    def run(self, fd: int) -> None:
        """Read the extents in turn; each gets its share of the time and of the bytes left."""
        extents, size = self.request.extents, self.request.transfer_bytes
        buffers = aligned_buffers(self.request.queue_depth, size)
        late = time.perf_counter() + PATIENCE * self.request.seconds
        for index, (start, length) in enumerate(extents):
            if self.failure or time.perf_counter() > late:
                return
            self.allowance = (self.request.max_bytes - self.read_bytes) // (len(extents) - index)
            window = self._window(start, length)
            streams = split(self.request, start, length)
            threads = [
                threading.Thread(target=self._work, args=(fd, window, buffer, offsets))
                for buffer, offsets in zip(buffers, cycle(streams), strict=False)
            ]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join()

    def _window(self, start: int, length: int) -> Window:
        warm = round(self.request.warm_up_seconds * NANOSECONDS)
        share = round(self.request.seconds * NANOSECONDS / len(self.request.extents))
        warm_bytes = min(self.allowance, length) // WARM_UP_SHARE
        window = Window(start, time.perf_counter_ns() + warm, warm_bytes, share - warm)
        self.windows.append(window)
        return window

    def _work(self, fd: int, window: Window, buffer: memoryview, offsets: Iterator[int]) -> None:
        """One transfer after another; what the loop uses is made before it."""
        read, clock, lock, size = self.read, time.perf_counter_ns, self.lock, len(buffer)
        into, pieces, zeros = [buffer], _pieces(buffer), 0
        with lock:
            offset = self._take(window, offsets, size)
        while offset is not None:
            begun = clock()
            try:
                got, number = read(fd, into, offset), 0
            except OSError as error:
                got, number = 0, error.errno or errno.EIO
            if got < size:
                self._fail(window, ProbeError("read", number, offset + got))
                break
            with lock:
                now = clock()
                self.read_bytes += size
                self.progress[0] = self.read_bytes
                if window.complete(now, size):
                    self.latencies.add(now - begun)
                offset = self._take(window, offsets, size)
            if pieces[0] == ZERO_PIECE and all(piece == ZERO_PIECE for piece in pieces):
                zeros += size
        with lock:
            self.zero_bytes += zeros

    def _take(self, window: Window, offsets: Iterator[int], size: int) -> int | None:
        """The next place to read, or None. Needs the lock."""
        if window.closed:
            return None
        self.budget_spent |= self.allowance < size
        offset = next(offsets, None) if self.allowance >= size else None
        if offset is None:
            window.run_out()
        self.allowance -= size
        return offset

    def _fail(self, window: Window, failure: ProbeError) -> None:
        with self.lock:
            window.run_out()
            self.failure = self.failure or failure


def aligned_buffers(count: int, size: int) -> list[memoryview]:
    """Page-aligned, as direct I/O wants them, and already backed by memory."""
    stride = -(-size // mmap.PAGESIZE) * mmap.PAGESIZE
    flags = mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS | mmap.MAP_POPULATE
    whole = memoryview(mmap.mmap(-1, count * stride, flags=flags))
    return [whole[at : at + size] for at in range(0, count * stride, stride)]


def _pieces(buffer: memoryview) -> list[memoryview]:
    count = min(PIECES, len(buffer) // PIECE_BYTES)
    sectors = [index * (len(buffer) // PIECE_BYTES) // count for index in range(count)]
    return [buffer[at * PIECE_BYTES : (at + 1) * PIECE_BYTES].cast("Q") for at in sectors]


def split(request: SimpleNamespace, start: int, length: int) -> list[Iterator[int]]:
    """Offsets to read: an iterator for each stream, shared by its threads."""
    size = request.transfer_bytes
    if request.random:
        return [scattered(start, length // size, size, request.seed)]
    part = length // request.streams // size * size
    begins = [start + index * part for index in range(request.streams)]
    return [iter(range(begin, begin + part, size)) for begin in begins]


def scattered(start: int, count: int, size: int, seed: int) -> Iterator[int]:
    """Each of ``count`` places once, in an order that the seed decides.

    A list of every 4 KiB place of a large drive would not fit in memory, so the
    order is computed: adding, multiplying by an odd number and folding high bits
    onto low ones are each one-to-one on ``bits`` bits, hence so is their chain.
    Results past the end are skipped. Of the factors only oddness is relied on.
    """
    bits = max((count - 1).bit_length(), 1)
    mask, fold = (1 << bits) - 1, bits // 2 + 1
    for index in range(1 << bits):
        place = index + seed
        for factor in (0x9E3779B97F4A7C15, 0xBF58476D1CE4E5B9, 0x94D049BB133111EB):
            place = place * factor & mask
            place ^= place >> fold
        if place < count:
            yield start + place * size


def _check(found: os.stat_result, number: list[int] | None) -> None:
    """That it is what the parent asked for, before and after opening it."""
    wanted = f"block device {number[0]}:{number[1]}" if number else "regular file"
    names = {stat.S_IFREG: "regular file", stat.S_IFLNK: "symbolic link"}
    kind = names.get(stat.S_IFMT(found.st_mode), "special file")
    if stat.S_ISBLK(found.st_mode):
        kind = f"block device {os.major(found.st_rdev)}:{os.minor(found.st_rdev)}"
    if kind != wanted:
        raise ProbeError("check", 0, found=f"a {kind}, not the {wanted} it should be")


def open_target(request: SimpleNamespace) -> int:
    """A descriptor for direct reading. Raises ProbeError."""
    try:
        # Looked at before it is opened: opening alone can act (a tape winds, a pipe waits).
        _check(os.stat(request.path, follow_symlinks=False), request.number)
        fd = os.open(request.path, os.O_RDONLY | os.O_DIRECT | os.O_NOFOLLOW)
        _check(os.fstat(fd), request.number)
        size = os.lseek(fd, 0, os.SEEK_END)
    except OSError as error:
        raise ProbeError("open", error.errno or errno.EIO) from None
    if any(start + length > size for start, length in request.extents):
        raise ProbeError("check", 0, found=f"only {size} bytes long, shorter than planned")
    return fd


def report(burst: Burst, nanoseconds: int) -> dict[str, object]:
    """What the line says that goes out: bytes, nanoseconds, the kernel's error number."""
    return vars(burst.failure or ProbeError("done", 0)) | {
        "gone": burst.failure is not None and not os.path.lexists(burst.request.path),
        "budget_spent": burst.budget_spent,
        "nanoseconds": nanoseconds,
        "bytes_read": burst.read_bytes,
        "zero_bytes": burst.zero_bytes,
        "places": [window.report() for window in burst.windows if window.opened],
        "latencies": burst.latencies.bins(),
        "longest": burst.latencies.maximum,
    }


def main() -> None:
    # SIGKILL when the thread that started this process ends: prctl(2), PR_SET_PDEATHSIG.
    if ctypes.CDLL(None).prctl(1, ctypes.c_ulong(signal.SIGKILL), 0, 0, 0) != 0:
        sys.exit("prctl(PR_SET_PDEATHSIG) was refused")
    request = SimpleNamespace(**json.loads(sys.stdin.readline()))
    if os.getppid() != request.parent:
        return  # the parent ended before it could be watched
    progress = memoryview(mmap.mmap(request.progress, 8)).cast("Q")
    burst, begun = Burst(request, os.preadv, progress), time.perf_counter_ns()
    try:
        burst.run(open_target(request))
    except ProbeError as failure:
        burst.failure = failure
    print(json.dumps(report(burst, time.perf_counter_ns() - begun)), flush=True)


if __name__ == "__main__":
    main()
