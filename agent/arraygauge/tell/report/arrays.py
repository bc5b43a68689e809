"""One array in a report."""

from __future__ import annotations

from markupsafe import Markup

from arraygauge.tell.charts.topology import topology
from arraygauge.tell.page.curve import curve_plate
from arraygauge.tell.page.inputs import Known
from arraygauge.tell.page.overview import card_of
from arraygauge.tell.page.past import past_picture
from arraygauge.tell.page.pictures import drawn
from arraygauge.tell.page.topology import topology_of
from arraygauge.tell.report.derived import derived_of
from arraygauge.tell.report.inputs import ArrayMatter
from arraygauge.tell.report.values import ArraySection

LEAST_STRETCHES = 3
"""Fewer points make no picture of a time."""


def array_section(known: Known, matter: ArrayMatter) -> ArraySection:
    array = matter.array
    card = card_of(known, array)
    picture, left_out = topology_of(known, array)
    more = f" {left_out} drives are left out." if left_out else ""
    measured_sizes = len(matter.past.curve)
    return ArraySection(
        name=array.name,
        shape=card.shape,
        standing=card.standing,
        sentence=card.sentence,
        facts=card.facts,
        members=card.members,
        way=drawn(topology(picture)),
        way_words=picture.description + more,
        past=_past(matter),
        past_words=_past_words(matter),
        curve=curve_plate(known, array, matter.past).picture if measured_sizes > 1 else None,
        derived=tuple(derived_of(array, *each) for each in matter.derivations),
    )


def _past_words(matter: ArrayMatter) -> str:
    made = sum(each.measurements for each in matter.past.stretches)
    if not made:
        return "The history holds no measurement of it in this time."
    if len(matter.past.stretches) < LEAST_STRETCHES:
        return f"The history holds {made} of it in this time: too few to draw."
    count = matter.past.incidents.total
    return f"{made} measurements, {count or 'no'} incident{'' if count == 1 else 's'}."


def _past(matter: ArrayMatter) -> Markup | None:
    past = matter.past
    if len(past.stretches) < LEAST_STRETCHES:
        return None
    return past_picture(
        past,
        title=f"Throughput of {matter.array.name}",
        description=_past_words(matter),
    )
