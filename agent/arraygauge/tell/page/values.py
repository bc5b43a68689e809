"""What the page shows, as values: words and pictures are made, nothing is left to decide.

Texts are plain and are escaped by the templates; ``Markup`` is SVG whose own texts are escaped.
"""

from __future__ import annotations

from enum import StrEnum

from markupsafe import Markup

from arraygauge.values import frozen


class Tone(StrEnum):
    """How much something asks for a person; told by word, sign and colour together."""

    FINE = "fine"
    WARNING = "warning"
    CRITICAL = "critical"
    UNKNOWN = "unknown"


SIGNS = {Tone.FINE: "✓", Tone.WARNING: "▲", Tone.CRITICAL: "■", Tone.UNKNOWN: "○"}


@frozen
class Standing:
    """How an array fares, in two or three words."""

    tone: Tone
    words: str

    @property
    def sign(self) -> str:
        return SIGNS[self.tone]


@frozen
class Fact:
    """A term and what is said of it."""

    term: str
    words: str


@frozen
class MomentWords:
    """A moment for a person (local time) and for a program (RFC 3339)."""

    words: str
    machine: str


@frozen
class IncidentItem:
    """One incident as it was told last."""

    number: int
    standing: Standing
    headline: str
    reason: str
    meaning: str
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    began: MomentWords
    ended: MomentWords | None


@frozen
class IncidentList:
    """``left_out`` is how many more there are."""

    items: tuple[IncidentItem, ...]
    left_out: int


@frozen
class MemberRow:
    """One member in words; empty where nothing is known."""

    name: str
    state: str
    rate: str
    odd: bool
    seen: str
    model: str
    serial: str


@frozen
class Members:
    """Side by side on one scale, and as a table. ``left_out`` says how many are not shown."""

    picture: Markup
    rows: tuple[MemberRow, ...]
    left_out: int


@frozen
class Card:
    """One array at a glance."""

    name: str
    href: str
    shape: str
    standing: Standing
    sentence: str
    gauge: Markup
    facts: tuple[Fact, ...]
    members: Members
    incident: IncidentItem | None


@frozen
class DriveRow:
    """One drive, what was measured, and what probing took of it in the last 24 hours.
    ``hour_left`` is the share of an hour's budget that may still be spent, 0 to 1."""

    name: str
    attached: str
    size: str
    rate: str
    verdict: str
    spent: str
    hour_left: float | None


@frozen
class Drives:
    """``left_out`` is how many more there are."""

    rows: tuple[DriveRow, ...]
    left_out: int
    budget: str


@frozen
class Heading:
    """What stands at the head of every page. ``notice`` is what a reader must know first."""

    machine: str
    notice: str
    measured: MomentWords | None
    troubles: tuple[str, ...]


@frozen
class Overview:
    """The first page. ``summary`` is the answer in one sentence."""

    heading: Heading
    summary: Standing
    cards: tuple[Card, ...]
    left_out: int
    incidents: IncidentList
    drives: Drives


@frozen
class PeriodLink:
    """``current`` is the one that is shown."""

    word: str
    href: str
    current: bool


@frozen
class TableOfRates:
    """The figures of a picture. ``empty`` says why there are none."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    empty: str = ""


@frozen
class Plate:
    """A picture with its heading, a sentence on how to read it, and its figures.
    ``picture`` is None where there is nothing to draw: the table says why."""

    key: str
    heading: str
    reading: str
    picture: Markup | None
    table: TableOfRates


@frozen
class ArrayPage:
    """One array with its past and its way to the processor."""

    heading: Heading
    card: Card
    periods: tuple[PeriodLink, ...]
    plates: tuple[Plate, ...]
    incidents: IncidentList
    drives: Drives
