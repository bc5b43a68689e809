"""Incidents: opened once for a cause, followed while it lasts, closed once it is over.

A fold over observations, without a clock of its own: ``advance`` takes the book and what one
origin found at a moment, and gives the book after it and what changed. Moments are seconds of
a clock that never goes back (the caller maps them to dates).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import field, replace
from enum import StrEnum

from arraygauge.judge.findings import Finding, Matter, Observation, Origin, Severity, by_cause
from arraygauge.values import frozen

REOPEN_WITHIN_SECONDS = 900.0
"""Closed no longer ago than this, the same cause is the same incident again."""
FLAPS_TO_DAMP = 3
"""Reopened so often, an incident is told no more each time, only once an hour."""
DAMPED_SECONDS = 3600.0
FORGOTTEN_AFTER_SECONDS = 7 * 86400.0
"""How long a closed incident stays in the book; the history keeps it for good."""


@frozen
class Patience:
    """How much it takes for an origin's word to open an incident, and to close it: so many
    looks in a row, over so many seconds at least."""

    open_looks: int = 1
    close_looks: int = 1
    close_seconds: float = 0.0


PATIENCE: Mapping[Origin, Patience] = {
    # The kernel's own word; two looks apart so that a rebuild's handover does not close it.
    Origin.STATE: Patience(close_looks=2, close_seconds=2.0),
    Origin.MEASURED: Patience(close_looks=2),
    # Seldom made, and of millions of bytes: one good write is enough.
    Origin.WRITTEN: Patience(),
    Origin.PASSIVE: Patience(close_looks=3, close_seconds=60.0),
    # Its chart has the patience: one reading neither begins nor ends a change.
    Origin.DRIFT: Patience(),
    # Its watch has the patience to begin; it ends no sooner than the loss that explains it.
    Origin.FOOTAGE: Patience(close_looks=2, close_seconds=2.0),
    Origin.AGENT: Patience(),
}


class ChangeKind(StrEnum):
    """What happened to an incident; ``SEEN`` is no change."""

    SEEN = "seen"
    OPENED = "opened"
    REOPENED = "opened again"
    WORSENED = "got worse"
    EASED = "eased"
    CHANGED = "changed"
    CLOSED = "closed"


@frozen
class Incident:
    """One cause's trouble. ``finding`` is the joined one it was last seen as.

    ``opened``, ``seen`` and ``closed`` are moments; ``told`` the last one at which a change
    was worth telling. ``reopened`` counts how often it came back.
    """

    number: int
    finding: Finding
    worst: Severity
    opened: float
    seen: float
    told: float
    closed: float | None = None
    reopened: int = 0

    @property
    def is_open(self) -> bool:
        return self.closed is None

    @property
    def flapping(self) -> bool:
        return self.reopened >= FLAPS_TO_DAMP


@frozen
class Change:
    """``told`` is false for one that flapping keeps quiet; the history has it all the same."""

    kind: ChangeKind
    incident: Incident
    moment: float
    told: bool = True


@frozen
class Claim:
    """One origin's finding on one cause: how often it was made in a row, and since when it
    was looked for in vain."""

    finding: Finding
    looks: int = 1
    misses: int = 0
    missed_since: float = 0.0

    @property
    def believed(self) -> bool:
        return self.looks >= max(self.finding.looks, PATIENCE[self.finding.origin].open_looks)


ClaimKey = tuple[Origin, str, Matter, tuple[str, ...]]
"""A drive may be missed by several arrays at once, each in its own way."""

LOSSES = frozenset(
    {
        Matter.DATA_INCOMPLETE,
        Matter.NO_REDUNDANCY,
        Matter.LESS_REDUNDANCY,
        Matter.ARRAY_STOPPED,
    }
)
"""Of these an array has one at a time: the next one takes the place of the last at once."""


@frozen
class IncidentBook:
    """All that is known of incidents. ``incidents`` by the cause's stable id; ``next_number``
    is never given twice."""

    incidents: Mapping[str, Incident] = field(default_factory=dict)
    next_number: int = 1
    claims: Mapping[ClaimKey, Claim] = field(default_factory=dict)

    @property
    def open(self) -> tuple[Incident, ...]:
        """Open incidents, the worst first."""
        found = [incident for incident in self.incidents.values() if incident.is_open]
        return tuple(sorted(found, key=lambda each: (-each.finding.severity, each.number)))

    def in_doubt(self, origin: Origin) -> bool:
        """Whether something that the origin found looks over and needs one more look."""
        return any(
            claim.misses and claim.finding.origin is origin for claim in self.claims.values()
        )


def book_of(incidents: Iterable[Incident], next_number: int) -> IncidentBook:
    """The book as an earlier run of the agent left it: what was open is believed until those
    who found it look in vain."""
    kept = {incident.finding.cause.stable_id: incident for incident in incidents}
    claims = {
        _key(finding): Claim(finding=finding, looks=PATIENCE[finding.origin].open_looks)
        for incident in kept.values()
        if incident.is_open
        for finding in (incident.finding, *incident.finding.also)
    }
    return IncidentBook(incidents=kept, next_number=next_number, claims=claims)


Follow = Callable[[Iterable[Claim]], Observation]
"""What another origin makes of all that is now found, at the same moment."""


def advance(
    book: IncidentBook, observation: Observation, moment: float, follow: Follow | None = None
) -> tuple[IncidentBook, tuple[Change, ...]]:
    """The book after one origin's look, and what changed."""
    claims = _claims_after(book.claims, observation, moment)
    if follow is not None:
        claims = _claims_after(claims, follow(claims.values()), moment)
    present = by_cause(claim.finding for claim in claims.values() if claim.believed)
    incidents = dict(book.incidents)
    changes: list[Change] = []
    number = book.next_number
    for cause, finding in present.items():
        change = _seen(incidents.get(cause), finding, moment, number)
        incidents[cause] = change.incident
        number += change.kind is ChangeKind.OPENED
        changes += [change] if change.kind is not ChangeKind.SEEN else []
    for cause, incident in book.incidents.items():
        if cause not in present and incident.is_open:
            change = _told(ChangeKind.CLOSED, replace(incident, closed=moment), moment)
            incidents[cause] = change.incident
            changes.append(change)
    kept = {cause: each for cause, each in incidents.items() if not _is_forgotten(each, moment)}
    after = IncidentBook(incidents=kept, next_number=number, claims=claims)
    return after, tuple(changes)


def _claims_after(
    claims: Mapping[ClaimKey, Claim], observation: Observation, moment: float
) -> dict[ClaimKey, Claim]:
    made = {_key(finding): finding for finding in observation.findings}
    after: dict[ClaimKey, Claim] = {}
    for key, claim in claims.items():
        if key in made:
            after[key] = _made_again(claim, made[key])
        elif any(_takes_its_place(finding, claim.finding) for finding in observation.findings):
            continue
        elif not observation.speaks_for(claim.finding):
            after[key] = claim
        elif (missed := _missed(claim, moment)) is not None:
            after[key] = missed
    return after | {key: Claim(finding=made[key]) for key in made if key not in claims}


def _made_again(claim: Claim, finding: Finding) -> Claim:
    """One more look. What is believed already stays so, however long a milder one would take."""
    looks = claim.looks + 1
    return Claim(finding=finding, looks=max(looks, finding.looks) if claim.believed else looks)


def _takes_its_place(new: Finding, old: Finding) -> bool:
    """Whether it is what has become of the other: the same trouble, or the same array's loss;
    of promised footage, which goes with whatever explains it, another cause as well."""
    moved = new.origin is Origin.FOOTAGE
    same = new.origin is old.origin and (moved or new.cause.stable_id == old.cause.stable_id)
    alike = new.matter is old.matter or {new.matter, old.matter} <= LOSSES
    return same and alike and not set(new.arrays).isdisjoint(old.arrays)


def _missed(claim: Claim, moment: float) -> Claim | None:
    """Looked for in vain once more; None once that is enough to be believed."""
    patience = PATIENCE[claim.finding.origin]
    since = claim.missed_since if claim.misses else moment
    missed = replace(claim, misses=claim.misses + 1, missed_since=since)
    over = missed.misses >= patience.close_looks and moment - since >= patience.close_seconds
    return None if over or not claim.believed else missed


def _key(finding: Finding) -> ClaimKey:
    return finding.origin, finding.cause.stable_id, finding.matter, finding.arrays


def _seen(incident: Incident | None, finding: Finding, moment: float, number: int) -> Change:
    """One cause's finding against its incident: none yet, one closed, or one open."""
    if incident is None or (
        incident.closed is not None and moment - incident.closed > REOPEN_WITHIN_SECONDS
    ):
        opened = Incident(
            number=number,
            finding=finding,
            worst=finding.severity,
            opened=moment,
            seen=moment,
            told=moment,
        )
        return Change(kind=ChangeKind.OPENED, incident=opened, moment=moment)
    kind = _kind(incident, finding)
    after = replace(
        incident,
        finding=finding,
        worst=max(incident.worst, finding.severity),
        seen=moment,
        closed=None,
        reopened=incident.reopened + (kind is ChangeKind.REOPENED),
    )
    if kind is ChangeKind.SEEN:
        return Change(kind=kind, incident=after, moment=moment, told=False)
    return _told(kind, after, moment)


def _kind(incident: Incident, finding: Finding) -> ChangeKind:
    before = incident.finding
    if not incident.is_open:
        return ChangeKind.REOPENED
    if finding.severity != before.severity:
        return ChangeKind.WORSENED if finding.severity > before.severity else ChangeKind.EASED
    if _gist(finding) != _gist(before):
        return ChangeKind.CHANGED
    return ChangeKind.SEEN


def _gist(finding: Finding) -> tuple[Matter, str, tuple[str, ...]]:
    """What is told again when it changes: the matter, and what it does to promised footage."""
    promises = tuple(each.signature for each in finding.also if each.matter is Matter.FOOTAGE)
    return finding.matter, finding.signature, promises


def _told(kind: ChangeKind, incident: Incident, moment: float) -> Change:
    """One that flaps is told once an hour,."""
    told = not incident.flapping or moment - incident.told >= DAMPED_SECONDS
    after = replace(incident, told=moment) if told else incident
    return Change(kind=kind, incident=after, moment=moment, told=told)


def _is_forgotten(incident: Incident, moment: float) -> bool:
    return incident.closed is not None and moment - incident.closed > FORGOTTEN_AFTER_SECONDS
