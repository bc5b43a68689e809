"""raid0 (drivers/md/raid0.c): cut at chunk boundaries, chunk after chunk round a zone's members."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from simpy import Environment, Event

from simulated.cases import Case
from simulated.drives import Extent, Operation, gathered
from simulated.layouts import Zone, zones_of
from simulated.machine import Machine

UNBOUNDED = 1 << 50


class Striped:
    """A raid0 of equal members, or of unequal ones in zones."""

    def __init__(self, env: Environment, case: Case, machine: Machine) -> None:
        self._env = env
        self._case = case
        self._machine = machine
        self._zones = zones_of(case.sizes or (UNBOUNDED,) * case.width)

    def transfer(self, start: int, length: int) -> Event:
        """All pieces go out at once; those of one member are served in a row."""
        extents: defaultdict[int, list[Extent]] = defaultdict(list)
        for slot, address, size in self._pieces(start, length):
            extents[slot].append((address, size))
        way = self._case.way
        return gathered(
            self._env,
            [
                self._machine.move(Operation(slot, way, tuple(ends)))
                for slot, ends in extents.items()
            ],
        )

    def _pieces(self, start: int, length: int) -> Iterator[tuple[int, int, int]]:
        for at, size in chunk_pieces(start, length, self._case.chunk_bytes):
            zone = self._zone(at)
            row, member = divmod((at - zone.start) // self._case.chunk_bytes, len(zone.slots))
            inside = (at - zone.start) % self._case.chunk_bytes
            yield (
                zone.slots[member],
                zone.drive_offset + row * self._case.chunk_bytes + inside,
                size,
            )

    def _zone(self, at: int) -> Zone:
        return next(zone for zone in self._zones if at < zone.end)


def chunk_pieces(start: int, length: int, chunk: int) -> Iterator[tuple[int, int]]:
    """(start, length) of the pieces a range is cut into at chunk boundaries."""
    at, end = start, start + length
    while at < end:
        size = min(end, at - at % chunk + chunk) - at
        yield at, size
        at += size
