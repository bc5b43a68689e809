"""Incidents as they were told last, in short."""

from __future__ import annotations

import json
import time
from typing import Any

from arraygauge.history.trend import IncidentSpan
from arraygauge.tell.incident_words import SEVERITY_WORDS
from arraygauge.tell.moments import minute
from arraygauge.tell.page.inputs import Spans
from arraygauge.tell.page.standing import SEVERITY_TONES
from arraygauge.tell.page.values import IncidentItem, IncidentList, MomentWords, Standing, Tone

OVER = "Over: "
"""What begins the last headline of one that is over (``incident_words``), and is said already."""


def incident_list(spans: Spans) -> IncidentList:
    """All that are given, and how many more there are."""
    items = tuple(incident_item(each) for each in spans.found)
    return IncidentList(items=items, left_out=max(0, spans.total - len(items)))


def incident_item(span: IncidentSpan) -> IncidentItem:
    """One that is over asks for nothing any more, whatever it was."""
    words = _words(span)
    over = span.closed_at_seconds is not None
    tone = Tone.FINE if over else SEVERITY_TONES[span.severity]
    word = f"over, was {SEVERITY_WORDS[span.worst]}" if over else SEVERITY_WORDS[span.severity]
    return IncidentItem(
        number=span.number,
        standing=Standing(tone=tone, words=word),
        headline=span.headline.removeprefix(OVER) if over else span.headline,
        reason=str(words.get("reason", "")),
        meaning=str(words.get("meaning", "")),
        steps=_texts(words.get("steps")),
        cautions=_texts(words.get("cautions")),
        began=moment_words(span.opened_at_seconds),
        ended=None if span.closed_at_seconds is None else moment_words(span.closed_at_seconds),
    )


def array_names(span: IncidentSpan) -> tuple[str, ...]:
    """The arrays it is about."""
    return _texts(_json(span.arrays_json))


def moment_words(seconds: float) -> MomentWords:
    """In local time, to the minute."""
    machine = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(seconds))
    return MomentWords(words=minute(seconds), machine=machine)


def _words(span: IncidentSpan) -> dict[str, Any]:
    """Of a document by another version, nothing."""
    document = _json(span.document)
    words = document.get("words") if isinstance(document, dict) else None
    return words if isinstance(words, dict) else {}


def _json(text: str) -> Any:
    try:
        return json.loads(text)
    except ValueError:
        return None


def _texts(value: object) -> tuple[str, ...]:
    return tuple(map(str, value)) if isinstance(value, list) else ()
