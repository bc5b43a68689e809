"""A report's words and pictures, from what was gathered."""

from __future__ import annotations

from collections.abc import Iterator

from arraygauge.judge import Protection
from arraygauge.tell.cautions import BY_SERIAL, COPY_FIRST, NO_BACKUP, NOT_VERIFIED, STOP
from arraygauge.tell.moments import minute
from arraygauge.tell.page.incidents import incident_list
from arraygauge.tell.page.inputs import MOST_ARRAYS, Known
from arraygauge.tell.page.overview import overview
from arraygauge.tell.report.arrays import array_section
from arraygauge.tell.report.inputs import ReportMatter
from arraygauge.tell.report.machine_facts import drive_table, identity_of, link_table
from arraygauge.tell.report.measured import measured_table, not_measured
from arraygauge.tell.report.values import Report
from arraygauge.tell.writes import write_sentence
from arraygauge.units import format_capacity


def report_of(matter: ReportMatter) -> Report:
    known = matter.known
    status = known.status
    return Report(
        machine=known.machine,
        made=minute(matter.made_at_seconds),
        period=f"{minute(matter.since_seconds)} to {minute(matter.until_seconds)}",
        lead=_lead(matter),
        notice=known.notice,
        summary=overview(known).summary,
        identity=identity_of(known.host, known.machine),
        drives=drive_table(known.host),
        links=link_table(known.host),
        arrays=tuple(array_section(known, each) for each in matter.arrays[:MOST_ARRAYS]),
        left_out=max(0, len(matter.arrays) - MOST_ARRAYS),
        measured=measured_table(matter.devices),
        writes=tuple(
            f"{each.name}: {write_sentence(each)}" for each in (status.writes if status else ())
        ),
        incidents=incident_list(matter.incidents),
        cautions=tuple(_cautions(known)),
        method=tuple(_method(matter)),
        not_measured=tuple(not_measured(matter.devices, status)),
        unseen=(*matter.unseen, *known.troubles),
    )


def _lead(matter: ReportMatter) -> str:
    if matter.fresh:
        return "Of one pass over the machine, made for this report, and of its history before."
    if not matter.devices:
        return (
            "Nothing was kept of this time: 'arraygauge run' keeps what it measures, and "
            "'arraygauge check --report FILE' writes a report of a pass made now."
        )
    return (
        "From what this machine's agent has kept. Nothing was measured for this report: verdicts "
        "hold the latest measurements of that time against the machine as it is now."
    )


def _cautions(known: Known) -> Iterator[str]:
    """What is urgent first, then what always holds."""
    states = [health.protection for each in known.arrays if (health := known.health(each))]
    if Protection.BROKEN in states:
        yield STOP
    if Protection.NONE_LEFT in states or Protection.REDUCED in states:
        yield COPY_FIRST
    yield NO_BACKUP
    if Protection.BROKEN not in states:
        yield (
            "When more members are lost than an array can survive: stop, change nothing, note "
            "the order of the drives, and ask a recovery professional."
        )
    yield BY_SERIAL
    yield NOT_VERIFIED


def _method(matter: ReportMatter) -> Iterator[str]:
    """How it was measured, and what that took."""
    made = sum(each.made for each in matter.devices)
    rated = sum(each.rated for each in matter.devices)
    read = sum(each.read_bytes for each in matter.devices)
    written = sum(each.written_bytes for each in matter.devices)
    yield (
        f"{made} measurements were tried in this time and {rated} gave a rate. They read "
        f"{format_capacity(read)} and wrote {format_capacity(written)}, the latter only to files "
        "of the agent's own."
    )
    yield (
        "A measurement reads in bursts of about a second, each at six random places spread over "
        "the device, past the page cache, until the 95 % interval of the median is narrow enough "
        "or its budget is spent. The rate is that median."
    )
    yield (
        "Places that hold zeros are set aside, because a solid-state drive answers those without "
        "reading; on a disk the change from rim to hub is taken out."
    )
    yield (
        "Raw devices are opened for reading only. Nothing is read while others work, an array "
        "synchronises, or a drive sleeps or is too hot, unless a person asked for it."
    )
    yield (
        "What is expected is calculated from the array's level and layout, the rates of its "
        "members read alone or declared, and every link on the way to the processor."
    )
