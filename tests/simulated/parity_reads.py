"""Reads of raid4, raid5 and raid6 (drivers/md/raid5.c).

Healthy, they go straight to the drives that hold the data (chunk_aligned_read). With a
member missing they all go through the stripe cache (raid5_make_request asks for
degraded == 0): a block of a drive that is there is read alone, a lost one needs every
other block of its row (need_this_block), and what was read before is not read again.
"""

from __future__ import annotations

from collections import OrderedDict, defaultdict

from simpy import Environment, Event

from simulated.cases import Case, Way
from simulated.drives import Operation, Server, Steps, gathered, watch
from simulated.layouts import Stripe, stripe_at
from simulated.machine import Machine
from simulated.rows import Piece, bytes_of, extents_of, pieces_of

Wanted = dict[tuple[int, int], int]
"""Rows by stripe and slot."""


class StripeCache:
    """Blocks that were read or computed, and those on their way."""

    def __init__(self, limit_rows: int | None) -> None:
        self._limit = limit_rows
        self._held: OrderedDict[int, defaultdict[int, int]] = OrderedDict()
        self._used: dict[int, int] = {}
        self._total = 0
        self._coming: defaultdict[tuple[int, int], list[tuple[int, Event]]] = defaultdict(list)

    def absent(self, stripe: int, slot: int, rows: int) -> int:
        """Those of the rows that are neither held nor on their way."""
        held = self._held.get(stripe)
        return rows & ~held[slot] if held is not None else rows

    def add(self, stripe: int, slot: int, rows: int) -> None:
        held = self._held.setdefault(stripe, defaultdict(int))
        held[slot] |= rows
        self._held.move_to_end(stripe)
        self._note_use(stripe)
        self._forget()

    def expect(self, stripe: int, slot: int, rows: int, event: Event) -> None:
        self.add(stripe, slot, rows)
        entry = (rows, event)
        coming = self._coming[stripe, slot]
        coming.append(entry)
        watch(event, lambda _: coming.remove(entry))

    def awaited(self, stripe: int, slot: int, rows: int) -> list[Event]:
        return [event for held, event in self._coming.get((stripe, slot), ()) if held & rows]

    def _note_use(self, stripe: int) -> None:
        rows = max(mask.bit_count() for mask in self._held[stripe].values())
        self._total += rows - self._used.get(stripe, 0)
        self._used[stripe] = rows

    def _forget(self) -> None:
        """Stripes not used for longest go first; the one in use stays."""
        while self._limit is not None and self._total > self._limit and len(self._held) > 1:
            oldest, _ = self._held.popitem(last=False)
            self._total -= self._used.pop(oldest)


class ParityReads:
    """Read transfers of one parity array."""

    def __init__(self, env: Environment, case: Case, machine: Machine, arithmetic: Server) -> None:
        self._env = env
        self._case = case
        self._machine = machine
        self._arithmetic = arithmetic
        self._cache = StripeCache(case.cached_rows)

    def transfer(self, start: int, length: int) -> Event:
        data = len(self._stripe(0).data)
        pieces = pieces_of(start, length, self._case.chunk_bytes, data)
        if self._case.missing:
            return self._env.process(self._through_cache(list(pieces)))
        wanted: Wanted = {(piece.stripe, self._slot(piece)): piece.rows for piece in pieces}
        return gathered(self._env, list(self._read(wanted).values()))

    def _stripe(self, number: int) -> Stripe:
        return stripe_at(self._case.level, self._case.width, self._case.layout, number)

    def _slot(self, piece: Piece) -> int:
        return self._stripe(piece.stripe).data[piece.position]

    def _read(self, wanted: Wanted) -> dict[int, Event]:
        """One operation a slot."""
        by_slot: defaultdict[int, list[tuple[int, int]]] = defaultdict(list)
        for (stripe, slot), rows in wanted.items():
            by_slot[slot] += extents_of(stripe, rows, self._case.chunk_bytes)
        return {
            slot: self._machine.move(Operation(slot, Way.READ, tuple(extents)))
            for slot, extents in by_slot.items()
        }

    def _through_cache(self, pieces: list[Piece]) -> Steps:
        wanted, computed = self._needed(pieces)
        waits = {event for key, rows in wanted.items() for event in self._cache.awaited(*key, rows)}
        absent = {
            key: left for key, rows in wanted.items() if (left := self._cache.absent(*key, rows))
        }
        reads = self._read(absent)
        for (stripe, slot), rows in absent.items():
            self._cache.expect(stripe, slot, rows, reads[slot])
        if events := [*waits, *reads.values()]:
            yield gathered(self._env, events)
        if computed and self._case.parity_rate:
            yield self._arithmetic.serve(computed / self._case.parity_rate)

    def _needed(self, pieces: list[Piece]) -> tuple[Wanted, int]:
        """Blocks to have in the cache, and bytes to run through parity arithmetic."""
        wanted: defaultdict[tuple[int, int], int] = defaultdict(int)
        computed = 0
        for piece in pieces:
            stripe, slot = self._stripe(piece.stripe), self._slot(piece)
            if slot not in self._case.missing:
                wanted[piece.stripe, slot] |= piece.rows
                continue
            lost = self._cache.absent(piece.stripe, slot, piece.rows)
            computed += bytes_of(lost) * len(stripe.data)
            for other in (*stripe.data, *stripe.parity):
                if lost and other in self._case.missing:  # two lost blocks come of one computation
                    self._cache.add(piece.stripe, other, lost)
                elif lost:
                    wanted[piece.stripe, other] |= lost
        return wanted, computed
