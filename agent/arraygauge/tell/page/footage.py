"""Promised footage on an array's card."""

from __future__ import annotations

from arraygauge.inventory.values import Array
from arraygauge.judge.footage import as_it_is
from arraygauge.judge.footage_values import FootageVerdict
from arraygauge.tell.footage import elsewhere_words, promise_words
from arraygauge.tell.page.inputs import Known
from arraygauge.tell.page.values import Fact


def footage_facts(known: Known, array: Array) -> tuple[Fact, ...]:
    """Whether each promise holds with the array as it is now, and what it would carry in other
    conditions."""
    verdict, host = known.verdict(array), known.host
    if verdict is None or host is None:
        return ()
    return tuple(_fact(as_it_is(host, array, each)) for each in verdict.footage)


def _fact(verdict: FootageVerdict) -> Fact:
    parts = (promise_words(verdict), elsewhere_words(verdict))
    return Fact(term="Footage", words=". ".join(_capitalised(part) for part in parts if part))


def _capitalised(words: str) -> str:
    return words[:1].upper() + words[1:]
