"""A machine whose counters a test sets, and the counters of a simulated burst's reads.

The columns of ``stat`` are those of Documentation/block/stat.rst.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from heapq import heappop, heappush
from math import ceil
from pathlib import Path
from random import Random

from arraygauge.inventory.tree import Tree

SECTOR = 512


class CountedMachine:
    """Files such as the kernel shows them, in a directory."""

    def __init__(self, root: Path, *names: str) -> None:
        self.tree = Tree(root=root)
        self._root = root
        self._bytes = dict.fromkeys(names, (0, 0))
        self._reads = dict.fromkeys(names, 0)
        for name in names:
            (root / "sys/class/block" / name).mkdir(parents=True)
            self.count(name)

    def count(
        self, name: str, read: int = 0, written: int = 0, *, reads: int = 1, in_flight: int = 0
    ) -> None:
        """So many bytes more were read and written, by so many reads; requests held now."""
        self._reads[name] += reads
        old_read, old_written = self._bytes[name]
        self._bytes[name] = now_read, now_written = old_read + read, old_written + written
        sectors = now_read // SECTOR, now_written // SECTOR
        held = f"{in_flight} 1 1 0 0 0 0 0 0"
        line = f"{self._reads[name]} 0 {sectors[0]} 1 1 0 {sectors[1]} 1 {held}\n"
        self._stat(name).write_text(line)

    def begin_anew(self, name: str) -> None:
        """As for a device that was attached again: its counters are zero."""
        self._bytes[name], self._reads[name] = (0, 0), 0
        self.count(name)

    def remove(self, name: str) -> None:
        """An open file of a removed device tells nothing any more."""
        self._stat(name).write_text("")

    def synchronise(self, name: str, action: str) -> None:
        directory = self._root / "sys/class/block" / name / "md"
        directory.mkdir(exist_ok=True)
        (directory / "sync_action").write_text(f"{action}\n")

    def _stat(self, name: str) -> Path:
        return self._root / "sys/class/block" / name / "stat"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reads:
    """When each read of a burst was noted as asked for, begun, done and noticed; seconds."""

    size: int
    noted: list[float]
    begun: list[float]
    done: list[float]
    noticed: list[float]

    def asked(self, now: float) -> int:
        return self.size * bisect_right(self.noted, now)

    def came(self, now: float) -> int:
        return self.size * bisect_right(self.noticed, now)

    def in_flight(self, now: float) -> int:
        return bisect_right(self.begun, now) - bisect_right(self.done, now)

    def counted(self, now: float, *, at_end: bool) -> int:
        return self.size * bisect_right(self.done if at_end else self.begun, now)

    def in_parts(self, parts: int) -> Reads:
        """Each read as so many, which come and go together."""
        every = {
            name: [moment for moment in getattr(self, name) for _ in range(parts)]
            for name in ("noted", "begun", "done", "noticed")
        }
        return Reads(size=self.size // parts, **every)


def simulated_reads(
    chance: Random, *, depth: int, size: int, bytes_per_second: float, seconds: float
) -> Reads:
    """A queue kept full by ``depth`` threads that a busy processor now and then holds up."""
    noted, begun, done, noticed = [], [], [], []
    for _ in range(depth):
        now = chance.random() * 1e-4
        while now < seconds:
            noted.append(now)
            now += held_up(chance, usually=3e-6, seldom=0.01)
            begun.append(now)
            now += depth * size / bytes_per_second * chance.uniform(0.5, 1.5)
            done.append(now)
            now += held_up(chance, usually=30e-6, seldom=0.02)
            noticed.append(now)
    return Reads(
        size=size,
        noted=sorted(noted),
        begun=sorted(begun),
        done=sorted(done),
        noticed=sorted(noticed),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SlowReads:
    """Transfers of a queue that a busy processor passes to the device piece by piece."""

    transfers: Reads
    pieces: Reads

    @staticmethod
    def simulated(
        chance: Random, *, depth: int, size: int, pieces: int, seconds: float
    ) -> SlowReads:
        """One processor begins all pieces, at first it has more to do besides, and the drive ends
        several pieces at once."""
        noted, begun, done, noticed = [], [], [], []
        processor = 0.0
        waiting = [(chance.random() * 1e-3, thread, 0, 0.0) for thread in range(depth)]
        while waiting:
            now, thread, piece, ended = heappop(waiting)
            if piece == 0:
                if now > seconds:
                    continue
                noted.append(now)
            processor = max(processor, now) + chance.uniform(1, 3) * (6e-4 if now < 0.5 else 1e-4)
            begun.append(processor)
            ended = max(ended, _next(processor + chance.uniform(0.01, 0.03), every=0.02))
            done.append(ended)
            if piece + 1 < pieces:
                heappush(waiting, (processor, thread, piece + 1, ended))
            else:
                noticed.append(ended + chance.uniform(0, 2e-3))
                heappush(waiting, (noticed[-1], thread, 0, 0.0))
        transfers = Reads(
            size=size, noted=sorted(noted), begun=[], done=[], noticed=sorted(noticed)
        )
        parts = Reads(
            size=size // pieces, noted=[], begun=sorted(begun), done=sorted(done), noticed=[]
        )
        return SlowReads(transfers=transfers, pieces=parts)


def _next(moment: float, every: float) -> float:
    return ceil(moment / every) * every


def held_up(chance: Random, *, usually: float, seldom: float) -> float:
    """Microseconds as a rule; a millisecond or two when another takes the processor."""
    return chance.expovariate(1 / usually) + (
        chance.expovariate(1 / 1.5e-3) if chance.random() < seldom else 0.0
    )


def own_bytes(asked: int, came: int) -> Callable[[], tuple[int, int]]:
    return lambda: (asked, came)
