"""How drives that meet in links share them: each as fast as fairness allows.

Progressive filling (Bertsekas and Gallager, Data Networks, section 6.5.2, from memory):
raise all rates together; whoever reaches its own limit, or the limit of a link, stays.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from simulated.cases import Link, Way


@dataclass(slots=True)
class Flow:
    """An operation under way: bytes left, what the drive could do, what it does."""

    way: Way
    left: float
    own: float
    rate: float = 0.0


@dataclass(slots=True)
class _Pool:
    """One limit: the share of its time each byte of a flow takes, and time left."""

    costs: dict[int, float]
    spare: float = 1.0

    def level(self, growing: set[int]) -> float:
        weight = sum(self.costs[slot] for slot in growing if slot in self.costs)
        return self.spare / weight if weight else float("inf")


def fair_rates(flows: dict[int, Flow], links: Sequence[Link]) -> None:
    """Sets every flow's rate, bytes per second. ``flows`` by slot."""
    pools = [pool for link in links for pool in _pools(flows, link)]
    growing = set(flows)
    while growing:
        levels = [pool.level(growing) for pool in pools]
        level = min(levels, default=float("inf"))
        stopping = {slot for slot in growing if flows[slot].own <= level}
        if not stopping:
            full = pools[levels.index(level)]
            stopping = {slot for slot in growing if slot in full.costs}
        for slot in stopping:
            flows[slot].rate = min(level, flows[slot].own)
            for pool in pools:
                pool.spare = max(0.0, pool.spare - flows[slot].rate * pool.costs.get(slot, 0.0))
        growing -= stopping


def _pools(flows: dict[int, Flow], link: Link) -> list[_Pool]:
    each = {Way.READ: link.read, Way.WRITE: link.write}
    ways = [(Way.READ,), (Way.WRITE,)] if link.full_duplex else [(Way.READ, Way.WRITE)]
    return [
        _Pool(
            {
                slot: 1 / each[flow.way]
                for slot, flow in flows.items()
                if slot in link.slots and flow.way in together
            }
        )
        for together in ways
    ]
