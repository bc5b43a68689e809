"""One array with its past, its way to the processor, and its curve."""

from __future__ import annotations

from arraygauge.inventory.stack import beneath
from arraygauge.inventory.values import Array
from arraygauge.tell.charts.topology import topology
from arraygauge.tell.charts.values import Node
from arraygauge.tell.moments import minute
from arraygauge.tell.page.curve import curve_plate
from arraygauge.tell.page.drives import drives_of
from arraygauge.tell.page.incidents import incident_list
from arraygauge.tell.page.inputs import Known, Past
from arraygauge.tell.page.overview import card_of, heading
from arraygauge.tell.page.past import past_picture
from arraygauge.tell.page.pictures import drawn
from arraygauge.tell.page.topology import topology_of
from arraygauge.tell.page.values import ArrayPage, PeriodLink, Plate, TableOfRates
from arraygauge.units import format_rate

PERIODS = {
    "day": 86400.0,
    "week": 7 * 86400.0,
    "month": 30 * 86400.0,
    "year": 365 * 86400.0,
}
"""Seconds by the word in an address."""
USUAL_PERIOD = "week"


def array_page(known: Known, array: Array, past: Past) -> ArrayPage:
    card = card_of(known, array)
    return ArrayPage(
        heading=heading(known),
        card=card,
        periods=tuple(
            PeriodLink(
                word=word, href=f"{card.href}?period={word}#past", current=word == past.period
            )
            for word in PERIODS
        ),
        plates=(
            _past_plate(array, past),
            _topology_plate(known, array),
            curve_plate(known, array, past),
        ),
        incidents=incident_list(past.incidents),
        drives=drives_of(known, _drives_below(known, array)),
    )


def _past_plate(array: Array, past: Past) -> Plate:
    made = sum(each.measurements for each in past.stretches)
    said = f"{made} measurements in the last {past.period}" if made else "Nothing was measured"
    return Plate(
        key="past",
        heading=f"The last {past.period}",
        reading=f"{said}. Behind them is what was expected at the time; marks below are incidents.",
        picture=past_picture(
            past,
            title=f"Throughput of {array.name} over the last {past.period}",
            description=f"{said}, {past.incidents.total} incidents.",
        )
        if past.stretches
        else None,
        table=_past_table(array, past),
    )


def _past_table(array: Array, past: Past) -> TableOfRates:
    return TableOfRates(
        caption=f"Throughput of {array.name}, the last {past.period}",
        columns=("Around", "Measured", "Least", "Most", "Expected at most"),
        rows=tuple(
            (
                minute(each.at_seconds),
                format_rate(each.mean),
                format_rate(each.least),
                format_rate(each.most),
                format_rate(each.ceiling) if each.ceiling is not None else "unknown",
            )
            for each in reversed(past.coarse)
        ),
        empty=f"Not measured in the last {past.period}.",
    )


def _topology_plate(known: Known, array: Array) -> Plate:
    picture, left_out = topology_of(known, array)
    more = f" {left_out} drives are left out." if left_out else ""
    links = [node for node in picture.nodes if node.parent_key is not None]
    return Plate(
        key="way",
        heading="The way to the processor",
        reading="Each link is as wide as what it can carry, and filled by what passes it." + more,
        picture=drawn(topology(picture)) if links else None,
        table=TableOfRates(
            caption=f"Links between {array.name} and the processor",
            columns=("What", "Carries", "In use", "Sets the pace"),
            rows=tuple(
                (
                    f"{node.kind_word} {node.name}",
                    _carries(node),
                    f"{node.used_share:.0%}" if node.used_share is not None else "unknown",
                    "yes" if node.wall else "no",
                )
                for node in links
            ),
            empty="No drive of this array is there.",
        ),
    )


def _carries(node: Node) -> str:
    rate = node.capacity_bytes_per_second
    return format_rate(rate) if rate is not None else node.note


def _drives_below(known: Known, array: Array) -> frozenset[str]:
    host = known.host
    bodies = [beneath(host, each.name) for each in array.members] if host is not None else []
    return frozenset(body.name for body in bodies if body is not None)
