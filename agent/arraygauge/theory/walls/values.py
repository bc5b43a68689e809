"""The values of the wall finder."""

from __future__ import annotations

from arraygauge.values import frozen

CERTAIN_FROM = 0.9
"""Below this confidence a wall is a guess: one in ten of those at the edge would be chance."""


@frozen
class Wall:
    """Members that together carry no more than ``bytes_per_second``.

    ``confidence``, 0 to 1, is the probability that none of the comparisons the claim
    rests on came out as it did by noise alone: that the members are slowed at all,
    that they speed up without each other, and that they do not without the rest.
    It answers for chance, not for what changed between the runs.
    """

    members: frozenset[str]
    bytes_per_second: float
    confidence: float

    @property
    def certain(self) -> bool:
        """Whether it may be called found."""
        return self.confidence >= CERTAIN_FROM
