"""What speaks for the reason of a drift: links, warmth, fill, counts of errors, peers. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from enum import StrEnum
from statistics import median

from arraygauge.inventory.values import Host, Link
from arraygauge.judge.baseline import Baseline
from arraygauge.judge.drift import DriftFinding, Watched, present_level
from arraygauge.judge.state import drive_of
from arraygauge.judge.values import ArrayVerdict, DeviceVerdict
from arraygauge.values import frozen

HOTTER_CELSIUS = 8.0
"""More than a warm day does to a drive. Common practice, no published source."""
FULLER_SHARE = 0.2
"""So much less of it empty than when it was learned."""


class Sign(StrEnum):
    """A piece of evidence."""

    LOW_LINK = "low link"
    HOTTER = "hotter"
    FULLER = "fuller"
    ERRORS_GREW = "errors grew"


@frozen
class Counts:
    """What md has counted on one cause: corrected read errors and ranges held for unreadable of
    a drive, disagreement found by the last check of an array. 0 where md does not say."""

    errors: int = 0
    bad_block_ranges: int = 0
    mismatch_bytes: int = 0

    def grew_since(self, before: Counts) -> bool:
        return (
            self.errors > before.errors
            or self.bad_block_ranges > before.bad_block_ranges
            or self.mismatch_bytes > before.mismatch_bytes
        )


@frozen
class Peers:
    """The other members of ``array_name``: how many of them are watched, and by what share the
    one in their middle is now away from its own past."""

    array_name: str
    count: int
    share: float


@frozen
class DriftFacts:
    """What the words about a drift are made of.

    ``together`` counts the members that changed alike, where what they share is the cause.
    ``is_array``: the cause is an array, and ``peers`` are its own members; ``of_array``: the
    figures are the array's too, and not those of a member. ``before`` are the
    counts while it did as usual, ``now`` those of the present.
    """

    drift: DriftFinding
    is_array: bool
    of_array: bool
    together: int
    peers: Peers | None
    low_links: tuple[Link, ...]
    before: Counts
    now: Counts

    @property
    def signs(self) -> frozenset[Sign]:
        found = {
            Sign.LOW_LINK: bool(self.low_links),
            Sign.HOTTER: self._warmer >= HOTTER_CELSIUS,
            Sign.FULLER: self._fuller >= FULLER_SHARE,
            Sign.ERRORS_GREW: self.now.grew_since(self.before),
        }
        return frozenset(sign for sign, is_there in found.items() if is_there)

    @property
    def _warmer(self) -> float:
        then, since = self.drift.baseline.usual_celsius, self.drift.celsius
        return since - then if since is not None and then is not None else 0.0

    @property
    def _fuller(self) -> float:
        then, since = self.drift.baseline.usual_empty_share, self.drift.empty_share
        return then - since if since is not None and then is not None else 0.0


def counts_of(host: Host) -> dict[str, Counts]:
    """By the stable ids of drives and arrays."""
    found: dict[str, Counts] = {}
    for array in host.arrays:
        found[array.stable_id] = Counts(mismatch_bytes=array.mismatch_bytes or 0)
        for member in array.members:
            cause = drive_of(host, member.name)
            if cause is not None:
                found[cause.stable_id] = Counts(
                    errors=member.errors or 0, bad_block_ranges=member.bad_block_ranges or 0
                )
    return found


def low_links_of(verdict: ArrayVerdict | DeviceVerdict) -> tuple[Link, ...]:
    return verdict.low_links if isinstance(verdict, DeviceVerdict) else ()


def peers_of(array_name: str, others: Iterable[Watched]) -> Peers | None:
    """None where no other is known well enough."""
    shares = present_shares(others)
    if not shares:
        return None
    return Peers(array_name=array_name, count=len(shares), share=median(shares))


def present_shares(watched: Iterable[Watched]) -> Sequence[float]:
    """How far those with a baseline are from it now."""
    levels = [
        present_level(each.usual, each.state)
        for each in watched
        if isinstance(each.usual, Baseline)
    ]
    return [level.share for level in levels if level is not None]
