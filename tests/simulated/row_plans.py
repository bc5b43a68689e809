"""What raid5.c does with one row that is to be written in part: handle_stripe_dirtying,
and need_this_block where members are missing (both from memory of 6.x)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from simulated.layouts import Stripe


@dataclass(frozen=True, slots=True)
class RowPlan:
    """Slots read before and written after, and blocks run through parity arithmetic."""

    reads: frozenset[int]
    writes: frozenset[int]
    computed: int


def plan_row(stripe: Stripe, pattern: int, missing: frozenset[int]) -> RowPlan:
    """``pattern``: the positions of data written, as bits."""
    written = {slot for at, slot in enumerate(stripe.data) if pattern >> at & 1}
    others = set(stripe.data) - written
    writes = frozenset((written | set(stripe.parity)) - missing)
    if not others:
        return RowPlan(frozenset(), writes, len(stripe.data))
    if _everything_is_needed(stripe, written, missing):
        reads = frozenset(set(stripe.data) | set(stripe.parity)) - missing
        return RowPlan(reads, writes, 2 * len(stripe.data))
    modify = written | set(stripe.parity)
    if _lost(modify, missing):
        return RowPlan(frozenset(others), writes, len(stripe.data))
    if _lost(others, missing) or len(modify) < len(others):
        return RowPlan(frozenset(modify), writes, len(modify) + len(written))
    return RowPlan(frozenset(others), writes, len(stripe.data))


def _lost(slots: Iterable[int], missing: frozenset[int]) -> bool:
    return not missing.isdisjoint(slots)


def _everything_is_needed(stripe: Stripe, written: set[int], missing: frozenset[int]) -> bool:
    """Two members lost, and one of them is written or is parity: neither way of counting
    works until the lost blocks have been computed from all others."""
    gone = missing & {*stripe.data, *stripe.parity}
    return len(gone) > 1 and _lost(written | set(stripe.parity), missing)
