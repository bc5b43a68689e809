"""What watching the counters found, as values."""

from __future__ import annotations

from enum import StrEnum

from arraygauge.values import frozen


class Certainty(StrEnum):
    """How far the evidence goes: a suspicion asks for a probe, an alarm stands by itself."""

    SUSPECTED = "suspected"
    ALARMED = "alarmed"


class Grounds(StrEnum):
    """What the evidence is."""

    DEMAND = "busy for longer than its peers with the same work"
    PAST = "all slower together than they have been with such a load"


class Unjudgeable(StrEnum):
    """Why nothing is said of a member."""

    TOO_LITTLE = "too little I/O"
    NO_PEERS = "no other member with the same role has enough I/O"
    UNLIKE_LOAD = "its load is unlike its peers'"


@frozen
class SlowMember:
    """A member that takes ``ratio`` times as long as its peers for the same work.

    ``since_seconds`` is when the evidence began to gather, on the readings' clock.
    """

    name: str
    certainty: Certainty
    grounds: Grounds
    ratio: float
    since_seconds: float


@frozen
class SharedPath:
    """Members slowed alike: what they share is at fault, not they.

    ``link`` is its id; None where none is known that only these members pass.
    """

    link: str | None
    members: tuple[str, ...]
    certainty: Certainty
    grounds: Grounds
    ratio: float
    since_seconds: float


@frozen
class BusyMember:
    """A member whose requests wait longer because it got ``work_ratio`` times its peers'
    work: no fault."""

    name: str
    work_ratio: float
    wait_ratio: float


@frozen
class LongWait:
    """A member whose requests wait ``wait_ratio`` times as long as its peers', with no more
    work and no more busy time seen. No accusation: under a deep queue the slowest of good
    drives looks so too, and what serves many requests at once hides its busy time. A probe
    tells."""

    name: str
    wait_ratio: float
    since_seconds: float


@frozen
class Unjudged:
    """A member of which the last minute's counters tell nothing."""

    name: str
    reason: Unjudgeable


Seen = SlowMember | SharedPath | BusyMember | LongWait | Unjudged


@frozen
class Stall:
    """Requests were in flight and none completed, on the readings' clock.

    ``seconds`` so far, or in all once ``over``; ``error_seconds`` is how far it may be off.
    ``hang`` from three seconds on. ``in_flight`` are the requests that waited;
    ``rested_seconds`` the device had done nothing before, 0 where it was at work.
    """

    device: str
    began_at_seconds: float
    seconds: float
    error_seconds: float
    in_flight: int
    rested_seconds: float
    hang: bool
    over: bool

    @property
    def milliseconds(self) -> int:
        return round(self.seconds * 1000)


@frozen
class HungPath:
    """All drives behind the link that were asked for anything stopped to answer together."""

    link: str
    members: frozenset[str]
