"""One stream of writes that fill no whole stripes: what each transfer costs which member.

Transfers that each stand alone share the members of their stripes, and the parity above
all. Taking as many of them as are in flight together, first all their reads and then
all their writes, is something the kernel is never slower than. It may take them in two
batches by turns: while one moves, the other waits for it (raid5.c raid5_activate_delayed).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import gcd, inf
from operator import add, sub

from arraygauge.theory.cut import row_turn, turn_chunks
from arraygauge.theory.geometry import Geometry, Row, rows

MOST_PLACES = 512
MOST_ORBITS = 8
MOST_WINDOWS = 16
"""So many places where a transfer may begin are counted; so many windows, spread evenly."""


@dataclass(frozen=True, slots=True)
class Phase:
    """Reads or writes of a window: bytes and operations of the slot that has most, and bytes
    that a slot has on the mean."""

    most_bytes: float = 0.0
    mean_bytes: float = 0.0
    operations: float = 0.0


@dataclass(frozen=True, slots=True)
class WindowWork:
    """What is done for one window, in one batch or two; ``rounds`` of reads and of writes, each
    of which waits for its slowest."""

    reads: Phase
    writes: Phase
    rounds: float


_Figures = tuple[float, ...]
"""A ``WindowWork``'s seven in a row, because thousands of them are added up."""


@lru_cache(maxsize=1024)
def windows_in_part(
    geometry: Geometry, transfer_bytes: int, offset_bytes: int, depth: int
) -> tuple[WindowWork, ...]:
    """The mean work of a window of ``depth`` transfers of a stream, each writing by itself. A
    window that begins where the last one ended keeps its place against the chunks: each way
    of beginning is an orbit of windows with a mean of its own."""
    stream = _Stream(geometry, transfer_bytes, offset_bytes)
    orbits = gcd(depth, stream.turn)
    return tuple(
        _mean(
            [
                stream.in_turns(orbit + at * orbits, depth)
                for at in _spread(stream.turn // orbits, MOST_WINDOWS)
            ]
        )
        for orbit in _spread(orbits, MOST_ORBITS)
    )


@lru_cache(maxsize=256)
def mean_on_busiest(geometry: Geometry, transfer_bytes: int, offset_bytes: int) -> float:
    """Bytes that one transfer by itself moves on the slot that moves most, the mean over where
    it may begin. 0 where those places are too many to be counted."""
    stream = _Stream(geometry, transfer_bytes, offset_bytes)
    if stream.turn > MOST_PLACES:
        return 0.0
    return sum(stream.on_busiest(first) for first in range(stream.turn)) / stream.turn


def _mean(works: list[_Figures]) -> WindowWork:
    means = [sum(column) / len(works) for column in zip(*works, strict=True)]
    return WindowWork(reads=Phase(*means[:3]), writes=Phase(*means[3:6]), rounds=means[6])


class _Stream:
    """Transfers one after the other; what each costs is counted once a period. After a turn
    they cost the same, on other slots."""

    def __init__(self, geometry: Geometry, transfer_bytes: int, offset_bytes: int) -> None:
        self._geometry = geometry
        self._size = transfer_bytes
        self._offset = offset_bytes
        self._chunk = geometry.chunk_bytes or transfer_bytes
        pattern = rows(geometry.level, geometry.slots, geometry.layout)
        self._period_bytes = self._chunk * len(pattern[0].data) * len(pattern)
        self.period = self._period_bytes // gcd(self._period_bytes, transfer_bytes)
        turn_bytes = self._chunk * turn_chunks(geometry.level, geometry.slots, geometry.layout)
        if geometry.missing:
            turn_bytes = self._period_bytes
        self.turn = turn_bytes // gcd(turn_bytes, transfer_bytes)
        rows_a_turn = self.turn * transfer_bytes // (self._chunk * len(pattern[0].data))
        by = row_turn(geometry.level, geometry.slots, geometry.layout)
        self._turn_slots = rows_a_turn * by % geometry.slots
        self._costs: dict[int, _Tally] = {}
        self._sums = [_Tally(geometry.slots)]

    def in_turns(self, first: int, depth: int) -> _Figures:
        """The window that begins with transfer ``first``: at once or in the two batches that take
        longest; split in the middle, at the chunk boundary before it or after one."""
        middle = depth // 2
        ahead = (self._start(first + middle) % self._chunk) // self._size
        splits = sorted({split for split in (1, middle, middle - ahead) if 0 < split < depth})
        ends = {at: self._up_to(first + at) for at in (0, *splits, depth)}
        ways = [((0, depth),), *(((0, split), (split, depth)) for split in splits)]
        longest = max(
            ways, key=lambda way: _length([(ends[begin], ends[end]) for begin, end in way])
        )
        serving = len(self._geometry.serving)
        works = [(ends[end] - ends[begin]).work(serving) for begin, end in longest]
        return works[0] if len(works) == 1 else tuple(map(add, *works))

    def on_busiest(self, index: int) -> int:
        return self._cost(index).on_busiest()

    def _up_to(self, end: int) -> _Tally:
        """What all transfers before this one cost together."""
        whole, rest = divmod(end, self.period)
        if whole and end > self.period:
            return self._up_to(self.period).times(whole) + self._up_to(rest)
        for index in range(len(self._sums) - 1, end):
            self._sums.append(self._sums[-1] + self._cost(index))
        return self._sums[end]

    def _start(self, index: int) -> int:
        return (self._offset + index * self._size) % self._period_bytes

    def _cost(self, index: int) -> _Tally:
        index %= self.period
        if index not in self._costs:
            self._costs[index] = self._counted(index)
        return self._costs[index]

    def _counted(self, index: int) -> _Tally:
        """Of the turns after the first, the same on other slots."""
        if index >= self.turn:
            times, within = divmod(index, self.turn)
            return self._cost(within).turned(times * self._turn_slots)
        found = _Tally(self._geometry.slots)
        _add_transfer(found, self._geometry, self._start(index), self._size)
        return found


def _spread(count: int, most: int) -> list[int]:
    """0 to ``count``, or ``most`` of them. A step without common factors with the count takes
    them evenly from every part of what repeats in it."""
    if count <= most:
        return list(range(count))
    step = round(0.618 * count)
    while gcd(step, count) > 1:
        step += 1
    return [number * step % count for number in range(most)]


def _length(batches: list[tuple[_Tally, _Tally]]) -> tuple[int, int]:
    """Orders ways of taking a window by how long they take; each batch is from one count to
    another."""
    peaks = [after.peak_since(before) for before, after in batches]
    return sum(size for size, _ in peaks), sum(rounds for _, rounds in peaks)


class _Tally:
    """What each slot does, being added up: in one row, because thousands are added for a curve,
    the bytes that each slot reads, those it writes, its reads, and its writes."""

    def __init__(self, slots: int) -> None:
        self._slots = slots
        self._counts = [0] * (4 * slots)
        self.whole = 0
        """How many transfers have whole stripes, which rows in part may wait for."""

    def __add__(self, other: _Tally) -> _Tally:
        found = _Tally(self._slots)
        found._counts = list(map(add, self._counts, other._counts))
        found.whole = self.whole + other.whole
        return found

    def __sub__(self, other: _Tally) -> _Tally:
        found = _Tally(self._slots)
        found._counts = list(map(sub, self._counts, other._counts))
        found.whole = self.whole - other.whole
        return found

    def turned(self, by: int) -> _Tally:
        """Every slot's on the slot that comes so many later."""
        found = _Tally(self._slots)
        cut = -by % self._slots
        found._counts = [each for row in self._rows() for each in (*row[cut:], *row[:cut])]
        found.whole = self.whole
        return found

    def times(self, count: int) -> _Tally:
        found = _Tally(self._slots)
        found._counts = [each * count for each in self._counts]
        found.whole = self.whole * count
        return found

    def move(self, read: frozenset[int], written: frozenset[int], size: int) -> None:
        for slots, sizes in ((read, 0), (written, self._slots)):
            for slot in slots:
                self._counts[sizes + slot] += size
                self._counts[sizes + 2 * self._slots + slot] += 1

    def _rows(self) -> list[list[int]]:
        wide = self._slots
        return [self._counts[start : start + wide] for start in range(0, 4 * wide, wide)]

    def on_busiest(self) -> int:
        read, write, _, _ = self._rows()
        return max(sum(pair) for pair in zip(read, write, strict=True))

    def peak_since(self, before: _Tally) -> tuple[int, int]:
        """Bytes of the slots that read and write most since then, and rounds."""
        wide, counts, start = self._slots, self._counts, before._counts
        read = max(map(sub, counts[:wide], start[:wide]))
        written = max(map(sub, counts[wide : 2 * wide], start[wide : 2 * wide]))
        rounds = 1 + (read > 0) + (read > 0 and self.whole > before.whole)
        return read + written, rounds

    def work(self, serving: int) -> _Figures:
        read, write, reads, writes = self._rows()
        most_reads = max(reads)
        reading = (max(read), sum(read) / serving, most_reads)
        writing = (max(write), sum(write) / serving, max(writes))
        return (*reading, *writing, 1 + (most_reads > 0) + (most_reads > 0 and self.whole > 0))


def _add_transfer(tally: _Tally, geometry: Geometry, start: int, length: int) -> None:
    """One transfer by itself: whole stripes at once, the stripes at its ends row by row."""
    chunk = geometry.chunk_bytes or length
    pattern = rows(geometry.level, geometry.slots, geometry.layout)
    stripe = chunk * len(pattern[0].data)
    end = start + length
    first, last = -(-start // stripe), end // stripe
    if last > first:
        everyone = frozenset(geometry.serving)
        tally.move(frozenset(), everyone, (last - first) * chunk)
        tally.whole = 1
    for number in range(start // stripe, -(-end // stripe)):
        if first <= number < last:
            continue
        base = number * stripe
        row = pattern[number % len(pattern)]
        for height, written in _bands(max(start - base, 0), min(end - base, stripe), chunk):
            read, moved = row_slots(row, written, geometry.missing)
            tally.move(read, moved, height)


def _bands(start: int, end: int, chunk: int) -> Iterator[tuple[int, range]]:
    """(height, positions written) of the rows of a stripe written from ``start`` to ``end``."""
    begin, stop = start % chunk, (end - 1) % chunk + 1
    first, last = start // chunk, (end - 1) // chunk
    edges = sorted({0, begin, stop, chunk})
    for low, high in pairwise(edges):
        written = range(first + (low < begin), last + (low < stop))
        if written:
            yield high - low, written


def row_slots(
    row: Row, written: range, missing: frozenset[int]
) -> tuple[frozenset[int], frozenset[int]]:
    """(slots read, slots written) for a row of which these positions are written.

    As ``stripes.py`` has it for a healthy row. A way of counting that needs a lost block is
    not open; where neither is, or two blocks are lost and not both merely left alone, all
    that survives is read (raid5.c handle_stripe_dirtying and need_this_block).
    """
    new = frozenset(row.data[position] for position in written)
    others, changed = frozenset(row.data) - new, new | frozenset(row.parity)
    if not others:
        return frozenset(), changed - missing
    if len(missing) > 1 and missing & changed:
        return (others | changed) - missing, changed - missing
    modify = inf if missing & changed else len(changed)
    reconstruct = inf if missing & others else len(others)
    return changed if modify < reconstruct else others, changed - missing
