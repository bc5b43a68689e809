"""A report's matter, gathered: the machine as it is, the history, and a pass where one was made."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator

from arraygauge.history import History, MeasurementRecord, records_of
from arraygauge.history.trend import incident_spans, sized_rates, stretches_of, usual_workload
from arraygauge.inventory.values import Array, Host
from arraygauge.judge import Grounds, Status, expected_rates
from arraygauge.service.grounds import grounds_of
from arraygauge.service.report_status import latest_by_id, status_of_past
from arraygauge.service.report_totals import totals_of
from arraygauge.service.survey import Surveyor
from arraygauge.tell.moments import minute
from arraygauge.tell.page.inputs import MOST_INCIDENTS, Known, Past, Spans
from arraygauge.tell.report.build import report_of
from arraygauge.tell.report.inputs import ArrayMatter, DeviceTotals, ReportMatter
from arraygauge.tell.report.render import report_html
from arraygauge.theory import (
    SEQUENTIAL_READ,
    SEQUENTIAL_WRITE,
    Derivation,
    Workload,
    derive,
    model_array,
)
from arraygauge.values import frozen

STRETCHES = 240
"""Into how many the time is divided for its picture."""
BEFORE_SECONDS = 30 * 86400.0
"""How much of the past is told beside a pass just made."""


@frozen
class ReportAsked:
    """Of what a report is made. ``status`` is a pass just made; without one, verdicts are made
    of what the history holds between two moments, seconds since 1970."""

    machine: str
    host: Host
    history: History
    grounds: Grounds
    since_seconds: float
    until_seconds: float
    status: Status | None = None
    notice: str = ""


def report_document(asked: ReportAsked) -> str:
    """The report as HTML. Raises HistoryError."""
    window = (asked.since_seconds, asked.until_seconds)
    fresh = tuple(records_of(asked.status)) if asked.status is not None else ()
    totals = tuple(totals_of(asked.history, window, fresh))
    status = asked.status or _past_status(asked, totals)
    found, total = incident_spans(asked.history, None, window, MOST_INCIDENTS)
    known = Known(
        machine=asked.machine,
        host=asked.host,
        status=status,
        grounds=asked.grounds,
        incidents=Spans(found=found, total=total),
        notice=asked.notice,
        troubles=asked.history.notes,
    )
    matter = ReportMatter(
        known=known,
        arrays=tuple(_array(asked, each, status) for each in asked.host.arrays),
        devices=totals,
        incidents=known.incidents,
        made_at_seconds=time.time(),
        since_seconds=asked.since_seconds,
        until_seconds=asked.until_seconds,
        fresh=asked.status is not None,
        unseen=tuple(unseen(asked.host)),
    )
    return report_html(report_of(matter))


def report_of_pass(surveying: Surveyor, status: Status, machine: str) -> str:
    """Of a pass just made, with what the history holds of the month before. Raises
    HistoryError."""
    end = time.time()
    return report_document(
        ReportAsked(
            machine=machine,
            host=status.host,
            history=surveying.purse.history,
            grounds=grounds_of(surveying.configuration, status.host),
            since_seconds=end - BEFORE_SECONDS,
            until_seconds=end,
            status=status,
        )
    )


def _past_status(asked: ReportAsked, totals: tuple[DeviceTotals, ...]) -> Status:
    latest: list[MeasurementRecord] = [each.latest for each in totals if each.latest is not None]
    since = minute(asked.since_seconds)
    return status_of_past(asked.host, latest_by_id(latest), asked.grounds, since)


def _array(asked: ReportAsked, array: Array, status: Status) -> ArrayMatter:
    history, window = asked.history, (asked.since_seconds, asked.until_seconds)
    workload = usual_workload(history, array.stable_id)
    of = (array.name, array.stable_id)
    found, total = incident_spans(history, of, window, MOST_INCIDENTS)
    past = Past(
        period="",
        start_seconds=window[0],
        end_seconds=window[1],
        stretches=stretches_of(history, array.stable_id, workload, window, STRETCHES)
        if workload
        else (),
        incidents=Spans(found=found, total=total),
        curve=sized_rates(history, array.stable_id),
    )
    workloads = (SEQUENTIAL_READ, SEQUENTIAL_WRITE)
    derivations = tuple((each, _derivation(asked, array, status, each)) for each in workloads)
    return ArrayMatter(array=array, past=past, derivations=derivations)


def _derivation(
    asked: ReportAsked, array: Array, status: Status, workload: Workload
) -> Derivation | None:
    attempts = {each.device.name: each.attempt for each in status.devices}
    attempts |= {each.array.name: each.attempt for each in status.arrays}
    rates = expected_rates(asked.host, array, attempts, asked.grounds)
    model = model_array(asked.host, array, rates, asked.grounds.board, workload.direction)
    return derive(model, workload) if model is not None else None


def unseen(host: Host) -> Iterator[str]:
    """What could not be seen, and what would show it."""
    if os.geteuid() != 0:
        yield (
            "This report was made without root: raw devices could not be opened, so rates may "
            "stand on files instead, and the history is this user's own. As root, arraygauge "
            "reads the drives themselves, and what the system's agent has kept."
        )
    for problem in host.problems:
        yield f"Could not read {problem.path}: {problem.detail}."
    yield (
        "What a drive itself reports of its wear and health takes a command to the drive; none "
        "was sent, and the kernel shows it in no file."
    )
    yield (
        "Links inside the board that the kernel does not show are known only where they were "
        "declared, or found by reading drives together."
    )
