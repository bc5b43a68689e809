"""Where an expectation comes from, in words that a person can check."""

from __future__ import annotations

from arraygauge.inventory.values import Array
from arraygauge.tell.derivation import raising, workload_phrase
from arraygauge.tell.page.values import TableOfRates
from arraygauge.tell.report.values import Derived
from arraygauge.tell.sentences import band_phrase
from arraygauge.theory import Derivation, Direction, Expectation, Use, Workload
from arraygauge.units import format_rate

MOST_RESOURCES = 16
_LAW = (
    "Each byte of the array's data occupies every resource below for some time. The one that is "
    "occupied longest is the bottleneck, here {binding}: the array gives no more than one byte in "
    "that time."
)


def derived_of(array: Array, workload: Workload, derivation: Derivation | None) -> Derived:
    """One workload of one array."""
    heading = f"{array.name}, {workload_phrase(workload)}"
    if derivation is None:
        return Derived(heading=heading, lines=(_unknown(workload),), resources=None)
    expectation = derivation.expectation
    lines = (
        f"Expected: {band_phrase(expectation)}.",
        _LAW.format(binding=_binding(derivation)),
        *(f"{each[:1].upper()}{each[1:]}." for each in raising(derivation)),
        *(f"Given: {each}." for each in expectation.assumptions),
    )
    return Derived(heading=heading, lines=lines, resources=_resources(expectation))


def _binding(derivation: Derivation) -> str:
    """Whom it is; of several alike how many."""
    first, *others = derivation.binding
    return f"{first} and {len(others)} alike" if others else first


def _unknown(workload: Workload) -> str:
    if workload.direction is Direction.WRITE:
        return (
            "Not known: what the drives can write was neither declared nor measured of each "
            "by itself, which would take writing to a member."
        )
    return "Not known: too little was measured of its members, or its data is incomplete."


def _resources(expectation: Expectation) -> TableOfRates:
    uses = sorted(expectation.uses, key=lambda use: -use.demand_seconds_per_byte)
    rest = len(uses) - MOST_RESOURCES
    more = f"; {rest} less busy ones are left out" if rest > 0 else ""
    return TableOfRates(
        caption=f"Resources, the busiest first{more}",
        columns=("Resource", "Carries", "Known by", "Time for a byte", "Busy"),
        rows=tuple(_row(use, expectation) for use in uses[:MOST_RESOURCES]),
    )


def _row(use: Use, expectation: Expectation) -> tuple[str, ...]:
    resource = use.resource
    reading = expectation.workload.direction is Direction.READ
    rate = resource.read_bytes_per_second if reading else resource.write_bytes_per_second
    mark = ", the bottleneck" if resource is expectation.bottleneck else ""
    return (
        f"{resource.name}{mark}",
        format_rate(rate),
        str(resource.source),
        f"{use.demand_seconds_per_byte * 1e9:.2f} ns",
        f"{use.utilisation:.0%}",
    )
