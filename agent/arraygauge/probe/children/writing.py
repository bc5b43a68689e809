"""The process that writes to the agent's own file with direct I/O and says what it saw.

One JSON line in on standard input (``writes.talk`` says what is in it), one out on standard
output (``report``). It opens no device. Asked to prepare, it makes the file or finds it
again; asked to write, it then overwrites it in place, from the beginning and over again,
and flushes. The memory it shares with its parent is as in ``reading``: a word to stop it,
then two for each thread, the bytes begun and the bytes written, making the file included.

No two transfers are alike to the drive, and making them so costs next to nothing: each
thread has random data of its own, and before each transfer every sector of it gets a number
that this place in the transfer never had before. So no two blocks are equal, and nothing that
looks at less than a transfer at once finds anything to compress.
"""

from __future__ import annotations

import errno
import json
import os
import threading
import time
from array import array
from collections.abc import Callable, Iterator
from itertools import cycle, pairwise
from types import SimpleNamespace

from arraygauge.probe.children.file_facts import NOT_COPIED_ON_WRITE, flags_of
from arraygauge.probe.children.offsets import aligned_buffers
from arraygauge.probe.children.own_file import (
    Folder,
    Order,
    OwnFileError,
    obtain,
    open_folder,
    remove,
    write_whole,
)
from arraygauge.probe.children.service import receive

NANOSECONDS = 1_000_000_000
SECTOR_BYTES = 512
MOST_SLICES = 100
MOST_TRANSFERS = 1 << 20

Writer = Callable[[int, list[memoryview], int], int]  # os.pwritev
Turns = Iterator[tuple[int, int]]  # the place in the order, the offset to write


class Burst:
    """Overwrites the file; times in nanoseconds."""

    def __init__(self, request: SimpleNamespace, words: memoryview, write: Writer) -> None:
        self.request, self.words, self.write = request, words, write
        self.first_error: tuple[int, int] | None = None
        self.begun = self.late = self.full_until = 0
        self.took = self.flush_took = 0
        self.ends = array("q")
        self._lock = threading.Lock()

    def run(self, fd: int, file_bytes: int, most: int) -> None:
        """At most so many transfers, over the whole transfers that fit the file."""
        request, size = self.request, self.request.transfer_bytes
        self.most = min(most, MOST_TRANSFERS)
        self.ends = array("q", bytes(8 * self.most))
        turns = zip(
            range(self.most), cycle(range(0, file_bytes // size * size, size)), strict=False
        )
        numbers = _numbers(most + size // SECTOR_BYTES)
        threads = [
            threading.Thread(target=self._work, args=(fd, buffer, turns, numbers, 1 + 2 * slot))
            for slot, buffer in enumerate(_random_buffers(request.queue_depth, size))
        ]
        self.begun = time.perf_counter_ns()
        self.late = self.begun + round(request.longest_seconds * NANOSECONDS)
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        self.took = time.perf_counter_ns() - self.begun

    def _work(
        self, fd: int, buffer: memoryview, turns: Turns, numbers: memoryview, word: int
    ) -> None:
        """One transfer after another; what the loop uses is made before it."""
        write, clock, words, size = self.write, time.perf_counter_ns, self.words, len(buffer)
        ends, late, sectors, out = self.ends, self.late, size // SECTOR_BYTES, [buffer]
        heads, asked, done = buffer.cast("Q")[:: SECTOR_BYTES // 8], words[word], word + 1
        for turn, offset in turns:
            if words[0] or clock() >= late:
                break
            heads[:] = numbers[turn : turn + sectors]
            asked += size
            words[word] = asked
            try:
                written = write(fd, out, offset)
                if written < size:
                    write_whole(fd, buffer[written:], offset + written)
            except OSError as error:
                self._fail(error.errno or errno.EIO, offset)
                break
            ends[turn] = clock()
            words[done] += size
        with self._lock:
            self.full_until = self.full_until or clock()

    def _fail(self, number: int, offset: int) -> None:
        self.first_error = self.first_error or (number, offset)
        self.words[0] = 1

    def flush(self, fd: int) -> None:
        """fdatasync(2): what is written has left every cache that loses power."""
        begun = time.perf_counter_ns()
        try:
            os.fdatasync(fd)
        except OSError as error:
            raise OwnFileError("flush", error.errno or errno.EIO) from None
        self.flush_took = time.perf_counter_ns() - begun

    def slices(self) -> list[tuple[int, int]]:
        """Bytes and nanoseconds from completion to completion, several transfers each, as
        long as all threads were at work: the first completion opens, and is not counted.
        Half the depth at least to a slice, since completions come in clusters."""
        ends = sorted(end for end in self.ends if end and end <= self.full_until)
        if not ends:
            return []
        many = max(-(-self.request.queue_depth // 2), -(-len(ends) // MOST_SLICES))
        size = many * self.request.transfer_bytes
        cuts = ends[::many]
        return [(size, end - begin) for begin, end in pairwise(cuts)]


def _random_buffers(count: int, size: int) -> list[memoryview]:
    buffers = aligned_buffers(count, size)
    for buffer in buffers:
        buffer[:] = os.urandom(size)
    return buffers


def _numbers(count: int) -> memoryview:
    """Random ones of 64 bits: in a million, two agree with a chance of one in 30 million."""
    return memoryview(os.urandom(8 * count)).cast("Q")


class Task:
    """One request, and what has come of it so far."""

    def __init__(self, request: SimpleNamespace, words: memoryview) -> None:
        self.request, self.words = request, words
        self.burst = Burst(request, words, os.pwritev)
        self.folder: Folder | None = None
        self.fd: int | None = None
        self.made = False
        self.filled = 0
        self.order = Order(
            size=request.file_bytes,
            to_write=request.write,
            making_until=time.perf_counter_ns() + round(request.making_seconds * NANOSECONDS),
            most_bytes=request.max_bytes,
        )

    def perform(self) -> None:
        """Raises OwnFileError at the first step that fails."""
        allowed = [(major, minor) for major, minor in self.request.allowed]
        self.folder = open_folder(self.request.directories, allowed)
        self.fd, self.made = obtain(self.folder, self.order, self.words)
        self.filled = sum(self.words[1::2])
        if self.request.write:
            try:
                self._write(self.fd)
            finally:
                if not self.request.keep:
                    remove(self.folder.fd, self.order.name, self.fd)

    def _write(self, fd: int) -> None:
        size = self.request.transfer_bytes
        left = min(self.request.burst_bytes, self.request.max_bytes - self.filled)
        self.burst.run(fd, self.order.size, max(left // size, 0))
        if self.burst.first_error is not None:
            number, offset = self.burst.first_error
            raise OwnFileError("write", number, str(offset))
        if self.words[0]:
            raise OwnFileError("stopped")
        self.burst.flush(fd)


def report(task: Task, failure: OwnFileError | None) -> dict[str, object]:
    """What the line says that goes out: bytes, nanoseconds, the kernel's error number."""
    burst, folder = task.burst, task.folder
    written = sum(task.words[2::2])
    links = os.fstat(task.fd).st_nlink if task.fd is not None else 0
    return vars(failure or OwnFileError("done")) | {
        "folder": folder.path if folder else None,
        "device": folder.number if folder else None,
        "name": task.order.name,
        "made": task.made,
        "in_place": task.fd is not None and bool(flags_of(task.fd) & NOT_COPIED_ON_WRITE),
        "kept": links > 0,
        "written": written,
        "filled": task.filled if task.fd is not None else written,
        "nanoseconds": burst.took,
        "flush_nanoseconds": burst.flush_took,
        "slices": burst.slices(),
    }


def main() -> None:
    """Serve the one request."""
    received = receive()
    if received is None:
        return
    task, failure = Task(*received), None
    try:
        task.perform()
    except OwnFileError as error:
        failure = error
    print(json.dumps(report(task, failure)), flush=True)
