"""The process that reads one device with direct I/O and says what it saw.

One JSON line in on standard input (``runner`` says what is in it), one out on standard
output (``report``). It opens one path, read-only, and the text file of the drive's
temperature if that was named; it writes to nothing but its standard output and the words
of memory it shares with its parent: the first tells it to stop, then two for each thread,
the bytes asked for and the bytes that came.

How it is kept fast. Between two reads a thread takes its turn from an iterator made in C
(which the interpreter's own lock makes safe), looks at the stop word and stores two times
in arrays made before: no lock is taken, nothing is allocated but the numbers themselves.
All counting comes after.
"""

from __future__ import annotations

import errno
import json
import mmap
import os
import stat
import threading
import time
from collections.abc import Callable, Iterator
from itertools import chain
from types import SimpleNamespace

from arraygauge.probe.children.offsets import aligned_buffers, at_random, in_order
from arraygauge.probe.children.place import PATIENCE, Place, quantiles
from arraygauge.probe.children.service import receive

NANOSECONDS = 1_000_000_000
WARM_UP_SHARE = 4  # a quarter of its bytes at most, or a fast drive would spend all on warming up
MEETING_SECONDS = 5  # longer than any other process takes to start
MOST_PER_SECOND = 400_000  # more than any interpreter takes: bounds what is made in advance
LEAST_IN_FLIGHT = 2  # a drive that reads one transfer has the next one already
PIECES, PIECE_BYTES = 16, 512  # evenly spread; a transfer is taken for zero when all of them are
ZERO_PIECE = memoryview(bytes(PIECE_BYTES)).cast("Q")

Reader = Callable[[int, list[memoryview], int], int]  # os.preadv
Turns = Iterator[tuple[int, int]]  # the offset to read, its turn among the place's reads


class ProbeError(Exception):
    """What stopped the probe: at which step, the kernel's error number (0: none), where, why."""

    def __init__(self, step: str, number: int, offset: int | None = None, found: str = "") -> None:
        super().__init__(step, number, offset, found)
        self.step, self.number, self.offset, self.found = step, number, offset, found


class Burst:
    """All that one request reads."""

    def __init__(self, request: SimpleNamespace, read: Reader, words: memoryview) -> None:
        self.request, self.read, self.words = request, read, words
        self.places: list[Place] = []
        self.late = 0
        self.kept = [request.queue_depth]  # threads; a list, which all of them share
        self.budget_spent = False
        self.failure: ProbeError | None = None

    @property
    def bytes_read(self) -> int:
        return sum(self.words[2::2])

    def run(self, fd: int) -> None:
        """Read the extents in turn, each with its share of the bytes.

        Every thread goes from place to place by itself, so that the queue is full all the
        time: a pause between two places would let a drive's cache, or a link, recover.
        """
        request = self.request
        share = request.max_bytes // len(request.extents)
        for start, length in request.extents:
            self.places.append(self._place(start, length, share))
        turns = [self._turns(place, length) for place, (_, length) in self._with_extents()]
        buffers = aligned_buffers(request.queue_depth, request.transfer_bytes)
        threads = [
            threading.Thread(
                target=self._work,
                args=(
                    fd,
                    buffer,
                    slot,
                    [streams[slot % len(streams)] for streams in turns],
                ),
            )
            for slot, buffer in enumerate(buffers)
        ]
        self._wait_for_start()
        self.late = time.perf_counter_ns() + round(request.longest_seconds * NANOSECONDS)
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        self.budget_spent = not self.words[0] and any(
            place.most == share // request.transfer_bytes < length // request.transfer_bytes
            and place.all_taken
            for place, (_, length) in self._with_extents()
        )

    def _with_extents(self) -> Iterator[tuple[Place, tuple[int, int]]]:
        return zip(self.places, self.request.extents, strict=True)

    def _wait_for_start(self) -> None:
        """Several processes that are to read together begin when all are ready."""
        meeting = self.request.meeting
        if meeting is None:
            return
        words = attend(meeting)
        patient_until = time.perf_counter() + MEETING_SECONDS
        while not all(words) and not self.words[0] and time.perf_counter() < patient_until:
            time.sleep(0.001)

    def _place(self, start: int, length: int, share: int) -> Place:
        request, size = self.request, self.request.transfer_bytes
        seconds = PATIENCE * request.place_seconds + request.warm_up_seconds
        in_time = round(MOST_PER_SECOND * seconds)
        most = min(share // size, in_time, length // size)
        warm_up = request.settle_seconds if self.places else request.warm_up_seconds
        return Place(
            start=start,
            most=most,
            warm_transfers=most // WARM_UP_SHARE,
            warm_up=round(warm_up * NANOSECONDS),
            length=round(request.place_seconds * NANOSECONDS),
        )

    def _turns(self, place: Place, length: int) -> list[Turns]:
        """For each stream what it reads at the place; together no more than is allowed."""
        request, size = self.request, self.request.transfer_bytes
        streams = (
            at_random(place.start, length, size, request.seed, place.most)
            if request.random
            else in_order(place.start, length, size, request.streams)
        )
        # Offsets come first: a stream that has none left takes no turn from the others.
        return [zip(offsets, place.turns, strict=False) for offsets in streams]

    def _work(self, fd: int, buffer: memoryview, slot: int, turns: list[Turns]) -> None:
        """One thread: through all places, until time, bytes or its welcome end."""
        for place, taken in zip(self.places, turns, strict=True):
            if self.words[0] or not place.enter(time.perf_counter_ns(), self.late):
                return
            zeros = self._read(fd, place, buffer, taken, slot)
            if slot >= self.kept[0]:
                place.count_zeros(zeros)
                return  # the others keep the drive as busy as it was
            place.leave(time.perf_counter_ns(), zeros)

    def _read(self, fd: int, place: Place, buffer: memoryview, turns: Turns, slot: int) -> int:
        """One transfer after another at one place; what the loop uses is made before it."""
        read, clock, words, size = self.read, time.perf_counter_ns, self.words, len(buffer)
        begins, ends, warm_turn = place.begins, place.ends, place.warm_transfers
        into, pieces, zeros, kept = [buffer], _pieces(buffer), 0, self.kept
        word = 1 + 2 * slot
        head, asked, came = pieces[0], words[word], word + 1
        for offset, turn in turns:
            if words[0] or slot >= kept[0]:
                break
            asked += size
            words[word] = asked
            begun = clock()
            try:
                length, number = read(fd, into, offset), 0
            except OSError as error:
                length, number = 0, error.errno or errno.EIO
            ended = clock()
            if length < size:
                words[word] = asked - size
                self._fail(ProbeError("read", number, offset + length))
                break
            words[came] = asked
            begins[turn], ends[turn] = begun, ended
            if not head[0] and all(piece == ZERO_PIECE for piece in pieces):
                zeros += 1
            if ended >= place.gate or turn == warm_turn:
                self._thin_out(place, turn)
                if place.pass_gate(ended, turn):
                    break
        return zeros

    def _thin_out(self, place: Place, turn: int) -> None:
        """As a warm-up or a place ends: keep no more in flight than the drive answers soon, or
        whoever comes to work would wait for all of it. Only once: fewer are answered sooner."""
        request, depth = self.request, self.request.queue_depth
        if request.in_flight_seconds is None or self.kept[0] < depth:
            return
        recent = range(max(turn - 2 * depth, 0), turn + 1)
        took = sorted(place.ends[each] - place.begins[each] for each in recent if place.ends[each])
        wanted = round(depth * request.in_flight_seconds * NANOSECONDS / took[len(took) // 2])
        self.kept[0] = min(depth, max(wanted, LEAST_IN_FLIGHT, request.streams))

    def _fail(self, failure: ProbeError) -> None:
        self.failure = self.failure or failure
        self.words[0] = 1


def _pieces(buffer: memoryview) -> list[memoryview]:
    count = min(PIECES, len(buffer) // PIECE_BYTES)
    sectors = [index * (len(buffer) // PIECE_BYTES) // count for index in range(count)]
    return [buffer[at * PIECE_BYTES : (at + 1) * PIECE_BYTES].cast("Q") for at in sectors]


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


def attend(meeting: dict[str, int]) -> memoryview:
    """Say that this process is ready, or will never be; the words of all."""
    words = memoryview(mmap.mmap(meeting["descriptor"], 8 * meeting["count"])).cast("Q")
    words[meeting["place"]] = 1
    return words


def check_temperature(text: str | None, hottest_celsius: float | None) -> None:
    """Raises ProbeError for a drive too hot to be asked for more; millidegrees by the kernel."""
    try:
        hot = hottest_celsius is not None and int(text or "") > 1000 * hottest_celsius
    except ValueError:
        return  # no number: a drive without a sensor
    if hot:
        raise ProbeError("hot", 0, found=str(round(int(text or "") / 1000)))


def read_temperature(path: str | None) -> str | None:
    """The kernel's text, unparsed. Reading it asks the drive, which can hang: hence here."""
    try:
        with open(path or "", encoding="ascii", errors="replace") as file:
            return file.read(64).strip()
    except OSError:
        return None


def report(burst: Burst, temperature: str | None, nanoseconds: int) -> dict[str, object]:
    """What the line says that goes out: bytes, nanoseconds, the kernel's error number."""
    size = burst.request.transfer_bytes
    tallies = [place.tally() for place in burst.places]
    places = zip(burst.places, tallies, strict=True)
    latencies = sorted(chain.from_iterable(tally.latencies for tally in tallies))
    return vars(burst.failure or ProbeError("done", 0)) | {
        "gone": burst.failure is not None and not os.path.lexists(burst.request.path),
        "budget_spent": burst.budget_spent,
        "nanoseconds": nanoseconds,
        "bytes_read": burst.bytes_read,
        "temperature": temperature,
        "places": [
            (place.start, tally.transfers * size, tally.nanoseconds, place.zero_transfers * size)
            for place, tally in places
        ],
        "latencies": quantiles(latencies),
        "progress": [
            (moment, transfers * size)
            for place in (burst.places if burst.request.meeting is not None else ())
            for moment, transfers in place.progress()
        ],
    }


def main() -> None:
    """Serve the one request."""
    received = receive()
    if received is None:
        return
    request, words = received
    begun = time.perf_counter_ns()
    burst = Burst(request, os.preadv, words)
    temperature = read_temperature(request.temperature_file)
    try:
        check_temperature(temperature, request.hottest_celsius)
        burst.run(open_target(request))
    except ProbeError as failure:
        burst.failure = failure
        if request.meeting is not None:
            attend(request.meeting)  # or the others would wait
    print(json.dumps(report(burst, temperature, time.perf_counter_ns() - begun)), flush=True)
