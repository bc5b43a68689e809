"""How much of a drive's life write probes may use. Pure.

Drives are sold with an endurance: bytes a host may write before the maker stands by them no
longer. A year's write probes may use a small share of it, counted at the drive, after every
copy and parity block that the array adds (``probe.charges``).
"""

from __future__ import annotations

from arraygauge.probe.budget import DAY_SECONDS, BudgetLimits
from arraygauge.units import format_capacity
from arraygauge.values import frozen

YEAR_SECONDS = 365 * DAY_SECONDS
ASSUMED_FULL_WRITES = 100
"""The endurance of a drive that declares none, in writes of its whole size: very cautious
(common practice, no published source)."""


@frozen
class WriteAllowance:
    """``year_bytes`` is the share of a year, ``bytes_left`` what is left of it. ``basis``
    says in words what it stands on; ``assumed`` that nobody declared it."""

    bytes_left: int
    year_bytes: int
    endurance_bytes: int | None
    assumed: bool
    basis: str
    why_none: str | None = None


def write_allowance(
    limits: BudgetLimits,
    endurance_bytes: int | None,
    capacity_bytes: int | None,
    written_in_year_bytes: int,
) -> WriteAllowance:
    """What may still be written to one drive, of which so much was written in the last
    ``YEAR_SECONDS``.

    ``endurance_bytes`` is the rated one from the configuration; where it is None, 100 writes
    of the drive's capacity are assumed, and nothing may be written where that is not known.
    """
    rated = endurance_bytes or ASSUMED_FULL_WRITES * (capacity_bytes or 0)
    year_bytes = int(limits.endurance_share_per_year * rated)
    left = max(0, year_bytes - written_in_year_bytes)
    return WriteAllowance(
        bytes_left=left,
        year_bytes=year_bytes,
        endurance_bytes=rated or None,
        assumed=not endurance_bytes,
        basis=_basis(rated, assumed=not endurance_bytes),
        why_none=None if left else _why_none(rated, year_bytes),
    )


def _basis(rated: int, *, assumed: bool) -> str:
    if not rated:
        return "neither its endurance nor its size is known"
    if assumed:
        return (
            f"assumed endurance {format_capacity(rated)}: {ASSUMED_FULL_WRITES} writes of the "
            "whole drive (common practice, no published source)"
        )
    return f"rated endurance {format_capacity(rated)}"


def _why_none(rated: int, year_bytes: int) -> str:
    if not rated:
        return (
            "neither its endurance nor its size is known; declare the endurance as "
            "endurance_terabytes_written of a [[drive]] in the configuration"
        )
    if not year_bytes:
        return "the configuration's budget.endurance_share_per_year allows no writes"
    return f"a year's share of its endurance, {format_capacity(year_bytes)}, has been written"
