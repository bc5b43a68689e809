"""raid1 and raid10: every copy is written, one of them read (read_balance in
drivers/md/raid1.c and raid10.c, both from memory of 6.12)."""

from __future__ import annotations

from collections import defaultdict

from simpy import Environment, Event

from simulated.cases import Case, Way
from simulated.drives import Extent, Operation, gathered, watch
from simulated.layouts import copies_at
from simulated.machine import Machine
from simulated.striping import chunk_pieces


class _Traffic:
    """Operations sent and not complete, by slot, and where each drive's last one ended."""

    def __init__(self, env: Environment, case: Case, machine: Machine) -> None:
        self._machine = machine
        self.pending = [0] * case.width
        self.head = [0] * case.width

    def read(self, slot: int, address: int, size: int) -> Event:
        self.pending[slot] += 1
        event = self._machine.move(Operation(slot, Way.READ, ((address, size),)))
        watch(event, lambda _: self._complete(slot, address + size))
        return event

    def _complete(self, slot: int, end: int) -> None:
        self.pending[slot] -= 1
        self.head[slot] = end


class Mirror:
    """raid1: a transfer is read from one mirror; a stream stays where it is."""

    def __init__(self, env: Environment, case: Case, machine: Machine) -> None:
        self._env = env
        self._case = case
        self._machine = machine
        self._traffic = _Traffic(env, case, machine)
        self._expected = [-1] * case.width

    def transfer(self, start: int, length: int) -> Event:
        if self._case.way is Way.WRITE:
            pieces = [Operation(slot, Way.WRITE, ((start, length),)) for slot in self._case.present]
            return gathered(self._env, [self._machine.move(piece) for piece in pieces])
        slot = self._choose(start)
        self._expected[slot] = start + length
        return self._traffic.read(slot, start, length)

    def _choose(self, start: int) -> int:
        """choose_best_rdev: the mirror this continues on; else the one with fewest pending
        if any drive is without heads or some drive is idle; else the nearest head."""
        pending, head = self._traffic.pending, self._traffic.head
        slots = self._case.present
        for slot in slots:
            if start in (self._expected[slot], head[slot]):
                return slot
        fewest = min(slots, key=lambda slot: pending[slot])
        if not self._case.heads or not pending[fewest]:
            return fewest
        return min(slots, key=lambda slot: abs(start - head[slot]))


class MirroredStripe:
    """raid10: cut at chunk boundaries, a copy chosen for each piece."""

    def __init__(self, env: Environment, case: Case, machine: Machine) -> None:
        self._env = env
        self._case = case
        self._machine = machine
        self._traffic = _Traffic(env, case, machine)

    def transfer(self, start: int, length: int) -> Event:
        move = self._read if self._case.way is Way.READ else self._write
        return gathered(self._env, move(start, length))

    def _places(self, at: int) -> list[tuple[int, int]]:
        """(slot, address) of the copies that serve, in md's order."""
        chunk, inside = divmod(at, self._case.chunk_bytes)
        return [
            (place.slot, place.chunk * self._case.chunk_bytes + inside)
            for place in copies_at(self._case.width, self._case.layout, chunk)
            if place.slot not in self._case.missing
        ]

    def _read(self, start: int, length: int) -> list[Event]:
        return [
            self._traffic.read(*self._choose(self._places(at)), size)
            for at, size in chunk_pieces(start, length, self._case.chunk_bytes)
        ]

    def _choose(self, places: list[tuple[int, int]]) -> tuple[int, int]:
        """read_balance: fewest pending for drives without heads. With heads: of near copies
        an idle drive, else the nearest head; of far ones the lowest address."""
        traffic = self._traffic
        if not self._case.heads:
            return min(places, key=lambda place: traffic.pending[place[0]])
        near, far = self._case.layout & 0xFF, self._case.layout >> 8 & 0xFF

        def distance(place: tuple[int, int]) -> int:
            slot, address = place
            if near > 1 and not traffic.pending[slot]:
                return 0
            return address if far > 1 else abs(address - traffic.head[slot])

        return min(places, key=distance)

    def _write(self, start: int, length: int) -> list[Event]:
        extents: defaultdict[int, list[Extent]] = defaultdict(list)
        for at, size in chunk_pieces(start, length, self._case.chunk_bytes):
            for slot, address in self._places(at):
                extents[slot].append((address, size))
        return [
            self._machine.move(Operation(slot, Way.WRITE, tuple(ends)))
            for slot, ends in extents.items()
        ]
