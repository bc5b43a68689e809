"""What a chart is made of. Moments are seconds since 1970; rates are bytes per second.

``title`` names the chart and ``description`` says in a sentence what it shows: both are read out
in its place.
"""

from __future__ import annotations

from arraygauge.values import frozen


@frozen
class Band:
    """What was expected."""

    floor_bytes_per_second: float
    ceiling_bytes_per_second: float


@frozen
class TimePoint:
    """A rate and its confidence interval, as far as there is one, and what was expected of it
    then. No rate is a gap."""

    at_seconds: float
    low_bytes_per_second: float | None
    bytes_per_second: float | None
    high_bytes_per_second: float | None
    expected: Band | None = None


@frozen
class Mark:
    """Something that happened: an incident, until None while it lasts.

    ``severity_word`` is a word of ITU-T X.733 in lower case: 'critical', 'major', 'minor' or
    'information'; another is drawn as the last.
    """

    at_seconds: float
    until_seconds: float | None
    severity_word: str
    label: str


@frozen
class TimeChart:
    """A rate over time. ``unit_word`` stands above the axis, whose numbers are MB/s: 'MB/s'."""

    title: str
    description: str
    unit_word: str
    start_seconds: float
    end_seconds: float
    points: tuple[TimePoint, ...]
    marks: tuple[Mark, ...] = ()


@frozen
class Bar:
    """A member. No rate: it was not measured, or it is gone, which ``note`` may say."""

    name: str
    bytes_per_second: float | None
    odd: bool = False
    note: str = ""


@frozen
class MemberBars:
    """Members side by side on one scale."""

    title: str
    description: str
    bars: tuple[Bar, ...]
    expected_bytes_per_second: float | None = None


@frozen
class CurvePoint:
    """A rate at a transfer size."""

    transfer_bytes: int
    bytes_per_second: float


@frozen
class CurveChart:
    """Rates over transfer sizes."""

    title: str
    description: str
    measured: tuple[CurvePoint, ...]
    predicted: tuple[CurvePoint, ...] = ()


@frozen
class Node:
    """The processor, or something that is reached through its parent: over a link of that
    capacity, of which ``used_share`` is in use, 0 to 1.

    ``key`` is unique; ``kind_word`` is 'processor', 'uplink', 'controller', 'port', 'drive' or
    what fits; ``wall`` says that this link sets the pace.
    """

    key: str
    parent_key: str | None
    kind_word: str
    name: str
    capacity_bytes_per_second: float | None = None
    used_share: float | None = None
    wall: bool = False
    note: str = ""


@frozen
class Topology:
    """How data gets from the drives to the processor, as a tree. A node whose parent is not
    there stands at the root."""

    title: str
    description: str
    nodes: tuple[Node, ...]
