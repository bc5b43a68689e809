"""What a report says, as values: the template decides nothing but where it stands.

Texts are plain and are escaped by the template; ``Markup`` is SVG whose own texts are escaped.
"""

from __future__ import annotations

from markupsafe import Markup

from arraygauge.tell.page.values import Fact, IncidentList, Members, Standing, TableOfRates
from arraygauge.values import frozen


@frozen
class Derived:
    """Where an expectation comes from: a line of words for each step, and every resource."""

    heading: str
    lines: tuple[str, ...]
    resources: TableOfRates | None


@frozen
class ArraySection:
    """One array: how it fares, what theory says, what was measured."""

    name: str
    shape: str
    standing: Standing
    sentence: str
    facts: tuple[Fact, ...]
    members: Members
    way: Markup
    way_words: str
    past: Markup | None
    past_words: str
    curve: Markup | None
    derived: tuple[Derived, ...]


@frozen
class Report:
    """``summary`` is the answer in one sentence; ``lead`` says what this is and of when."""

    machine: str
    made: str
    period: str
    lead: str
    notice: str
    summary: Standing
    identity: tuple[Fact, ...]
    drives: TableOfRates
    links: TableOfRates
    arrays: tuple[ArraySection, ...]
    left_out: int
    measured: TableOfRates
    writes: tuple[str, ...]
    incidents: IncidentList
    cautions: tuple[str, ...]
    method: tuple[str, ...]
    not_measured: tuple[str, ...]
    unseen: tuple[str, ...]
