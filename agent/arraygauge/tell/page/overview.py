"""The first page: each array as a card."""

from __future__ import annotations

from urllib.parse import quote

from arraygauge.inventory.values import Array, SyncAction
from arraygauge.judge.pace import rate_of
from arraygauge.tell.page.drives import drives_of
from arraygauge.tell.page.footage import footage_facts
from arraygauge.tell.page.gauge import gauge
from arraygauge.tell.page.incidents import array_names, incident_item, incident_list, moment_words
from arraygauge.tell.page.inputs import MOST_ARRAYS, Known
from arraygauge.tell.page.members import members_of
from arraygauge.tell.page.standing import standing_of, summary_of
from arraygauge.tell.page.values import (
    Card,
    Fact,
    Heading,
    IncidentItem,
    Overview,
    Standing,
    Tone,
)
from arraygauge.tell.sentences import (
    array_sentence,
    band_phrase,
    bottleneck_phrase,
    protection_phrase,
    rate_with_uncertainty,
    shape_phrase,
    sync_phrase,
)

_URGENCY = (Tone.CRITICAL, Tone.WARNING, Tone.UNKNOWN, Tone.FINE)


def overview(known: Known) -> Overview:
    """The arrays that need a person first."""
    cards = sorted(
        (card_of(known, each) for each in known.arrays),
        key=lambda card: _URGENCY.index(card.standing.tone),
    )
    return Overview(
        heading=heading(known),
        summary=_summary(known, cards),
        cards=tuple(cards[:MOST_ARRAYS]),
        left_out=max(0, len(cards) - MOST_ARRAYS),
        incidents=incident_list(known.incidents),
        drives=drives_of(known),
    )


def heading(known: Known) -> Heading:
    """The same on every page."""
    status = known.status
    measured = None if status is None else moment_words(status.host.taken_at_seconds)
    return Heading(
        machine=known.machine, notice=known.notice, measured=measured, troubles=known.troubles
    )


def card_of(known: Known, array: Array) -> Card:
    """One array at a glance."""
    verdict, health = known.verdict(array), known.health(array)
    if health is None:
        raise ValueError("an array that is known comes from a host that is known")
    band = verdict.expectation if verdict is not None else None
    return Card(
        name=array.name,
        href=f"/array/{quote(array.name, safe='')}",
        shape=shape_phrase(array),
        standing=standing_of(health, verdict),
        sentence=array_sentence(verdict) if verdict else "Not measured yet.",
        gauge=gauge(
            array.name,
            rate_of(verdict.attempt) if verdict else None,
            (band.floor_bytes_per_second, band.ceiling_bytes_per_second) if band else None,
        ),
        facts=(*_paces(known, array), *_states(known, array)),
        members=members_of(known, array),
        incident=_latest(known, array),
    )


def _summary(known: Known, cards: list[Card]) -> Standing:
    if known.host is None:
        return Standing(tone=Tone.UNKNOWN, words="Nothing is known yet: the first look is made.")
    return summary_of([each.name for each in cards], [each.standing for each in cards])


def _paces(known: Known, array: Array) -> tuple[Fact, ...]:
    verdict, basis = known.verdict(array), known.basis(array)
    if verdict is None:
        return ()
    band = verdict.expectation
    measured = rate_with_uncertainty(verdict.attempt) or "not measured"
    share = f", {verdict.ratio:.0%} of the most expected" if verdict.ratio is not None else ""
    return (
        Fact(term="Measured", words=measured + share),
        Fact(term="Expected", words=band_phrase(band) if band else "unknown"),
        Fact(term="Bottleneck", words=bottleneck_phrase(basis.bottleneck) if basis else "unknown"),
    )


def _states(known: Known, array: Array) -> tuple[Fact, ...]:
    health = known.health(array)
    facts = []
    if health is not None:
        words = protection_phrase(health, array.level)
        facts.append(Fact(term="Redundancy", words=words))
    if array.sync_action not in (None, SyncAction.IDLE):
        facts.append(Fact(term="Busy with", words=sync_phrase(array)))
    facts += footage_facts(known, array)
    return tuple(facts)


def _latest(known: Known, array: Array) -> IncidentItem | None:
    """What is open of it, the worst first, or else what was last."""
    for span in known.incidents.found:
        if array.name in array_names(span) or span.cause_id == array.stable_id:
            return incident_item(span)
    return None
