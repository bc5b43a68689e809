"""Simulated bursts that a lookout looks at: each number it asks for is of its own moment."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from arraygauge.inventory.counters import CounterReader
from arraygauge.probe.lookout import LOOK_SECONDS, CounterLookout
from unit.probe.counted_machine import CountedMachine, Reads, SlowReads, simulated_reads

MIB = 1 << 20


class _LookedAt:
    """Transfers that the probe asks for and the requests that they become on ``sda``: at each
    look the kernel's numbers are asked for in their order, and time passes between them."""

    def __init__(
        self, root: Path, chance: Random, transfers: Reads, requests: Reads, *, at_end: bool
    ) -> None:
        self.machine, self.chance, self.at_end = CountedMachine(root, "sda"), chance, at_end
        self.others_in_flight = 0
        self._transfers, self._requests = transfers, requests
        self._now, self._before = 0.0, 0

    def had_look(self, lookout: CounterLookout, *pauses: float) -> str | None:
        """``pauses`` are the mean seconds before what is in flight, what was counted, what is in
        flight by then, and the own bytes at last."""
        first = self._own()
        self._pass(pauses[0])
        held = self._held()
        self._pass(pauses[1])
        counted = self._requests.counted(self._now, at_end=self.at_end)
        grown, self._before = counted - self._before, counted
        self.machine.count("sda", read=grown, reads=grown // self._requests.size, in_flight=held)
        self._pass(pauses[2])
        held_by_then = self._held()
        self._pass(pauses[3])
        own = iter((first, self._own()))
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(CounterReader, "in_flight", lambda _self, _names: held_by_then)
            return lookout.look(lambda: next(own))

    def rest(self, seconds: float) -> None:
        self._now += seconds

    def _pass(self, seconds: float) -> None:
        self._now += self.chance.expovariate(1 / seconds)

    def _held(self) -> int:
        return self._requests.in_flight(self._now) + self.others_in_flight

    def _own(self) -> tuple[int, int]:
        return self._transfers.asked(self._now), self._transfers.came(self._now)


class Burst(_LookedAt):
    """Looks every four milliseconds or a little later; every transfer is made up of so many
    requests, which come and go together."""

    def __init__(
        self,
        root: Path,
        seed: int,
        *,
        depth: int,
        at_end: bool,
        mb_per_second: int,
        requests: int = 1,
    ) -> None:
        chance = Random(seed)
        transfers = simulated_reads(
            chance,
            depth=depth,
            size=MIB,
            bytes_per_second=mb_per_second * 1e6,
            seconds=600 * LOOK_SECONDS,
        )
        super().__init__(root, chance, transfers, transfers.in_parts(requests), at_end=at_end)

    def look(self, lookout: CounterLookout) -> str | None:
        self.rest(LOOK_SECONDS + self.chance.expovariate(1 / 2e-4))
        return self.had_look(lookout, 1e-5, 2e-6, 2e-5, 2e-5)

    def looks_until_alarm(self, lookout: CounterLookout, most: int) -> int | None:
        return next((count for count in range(1, most + 1) if self.look(lookout)), None)


class SlowBurst(_LookedAt):
    """On a processor that hardly keeps up: between one number and the next so much time passes
    that pieces are begun and whole clusters of them end."""

    def __init__(self, root: Path, seed: int, *, at_end: bool) -> None:
        chance = Random(seed)
        reads = SlowReads.simulated(chance, depth=8, size=MIB, pieces=16, seconds=200 * 0.02)
        super().__init__(root, chance, reads.transfers, reads.pieces, at_end=at_end)

    def look(self, lookout: CounterLookout) -> str | None:
        self.rest(0.01)
        return self.had_look(lookout, 2e-3, 2e-3, 2e-3, 2e-3)
