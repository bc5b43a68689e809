"""Writes in words and in JSON: what an own file took, or why none was written."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from arraygauge.judge import Pace, WriteVerdict
from arraygauge.judge.writes import judged_rate
from arraygauge.probe.writes.values import WriteMeasurement
from arraygauge.tell.sentences import band_phrase
from arraygauge.units import format_capacity, format_rate

CLEARLY_LESS = 0.9
"""A rate with the flush is told where it is less than that of the one without."""


def write_phrase(verdict: WriteVerdict) -> str:
    """'55.1 MB/s, 98% of expected 56.0 MB/s'; with both rates where there is a cliff."""
    attempt, rate = verdict.attempt, judged_rate(verdict.attempt)
    if not isinstance(attempt, WriteMeasurement) or rate is None:
        return f"not measured: {attempt.detail or attempt.device}"
    said = format_rate(rate)
    if attempt.cliff is not None:
        said = (
            f"{said} at first, {format_rate(attempt.cliff.after_bytes_per_second)} after "
            f"{format_capacity(attempt.cliff.after_bytes)}"
        )
    return f"{said}{_held(verdict, rate)}"


def _held(verdict: WriteVerdict, rate: float) -> str:
    expectation = verdict.expectation
    if expectation is None:
        return ""
    band = band_phrase(expectation)
    if verdict.as_reading:
        return f"; its drives would allow {band} if they write as fast as they read"
    floor, ceiling = expectation.floor_bytes_per_second, expectation.ceiling_bytes_per_second
    if floor < 0.995 * ceiling and floor <= rate <= ceiling:
        return f", within the expected {band}"
    share = rate / (floor if rate < floor else ceiling)
    return f", {share:.0%} of the expected {band}"


def write_sentence(verdict: WriteVerdict) -> str:
    """One or a few sentences, for an incident and for scripts."""
    attempt = verdict.attempt
    parts = [f"{_capitalised(write_phrase(verdict))}."]
    if isinstance(attempt, WriteMeasurement) and attempt.usable:
        parts += [f"{_capitalised(remark)}." for remark in write_remarks(verdict)]
    return " ".join(parts)


def write_remarks(verdict: WriteVerdict) -> tuple[str, ...]:
    """What to know about the figure: where it was written, what differs there, what is lacking."""
    attempt = verdict.attempt
    if not isinstance(attempt, WriteMeasurement) or not attempt.usable:
        return ()
    rate, flushed = attempt.bytes_per_second, attempt.flushed_bytes_per_second
    kept = "which is kept" if attempt.file_kept else "which was removed"
    where = f"{attempt.path} ({attempt.filesystem}), {kept}"
    remarks = [f"wrote {format_capacity(attempt.bytes_written)} to {where}"]
    if rate and flushed and flushed < CLEARLY_LESS * rate:
        remarks.append(f"with the flush at the end {format_rate(flushed)}")
    if verdict.as_reading:
        remarks.append(
            "for a verdict, declare write_mb_per_second of each [[drive]] in the configuration"
        )
    if verdict.pace is Pace.ABOVE:
        remarks.append("a declared rate is too low, or a cache took it in the drives' stead")
    return (*remarks, *attempt.notes)


def _capitalised(words: str) -> str:
    return words[:1].upper() + words[1:]


def write_document(verdict: WriteVerdict) -> dict[str, Any]:
    """One of ``writes`` in the document of `arraygauge check --json`; without the expectation."""
    attempt = verdict.attempt
    measured: dict[str, Any] = (
        {**asdict(attempt), "rate_may_be_judged": attempt.usable}
        if isinstance(attempt, WriteMeasurement)
        else {"bytes_per_second": None, "outcome": "skipped", **asdict(attempt)}
    )
    return {
        "name": verdict.name,
        "stable_id": verdict.device.stable_id if verdict.device is not None else None,
        "pace": verdict.pace,
        "measured": measured,
        "judged_bytes_per_second": judged_rate(attempt),
        "expected_as_reading": verdict.as_reading,
        "ratio": verdict.ratio,
        "explanation": write_sentence(verdict),
    }
