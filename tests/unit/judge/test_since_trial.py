"""An array held against what a trial measured of the same drives before it was built."""

from __future__ import annotations

from dataclasses import replace

import pytest

from arraygauge.inventory.values import Level, SyncAction
from arraygauge.judge import ArrayVerdict, Cause, Grounds, Pace, assess_array, with_trial
from arraygauge.judge.incidents import IncidentBook, advance
from arraygauge.judge.measured import observe_status
from arraygauge.judge.past_trial import Figure, PastTrial
from arraygauge.judge.values import Status
from arraygauge.probe.values import Attempt, Outcome
from arraygauge.tell.sentences import array_sentence
from arraygauge.theory import SEQUENTIAL_READ, SEQUENTIAL_WRITE
from invented import FAILED, array, host, measured, member

NAMES = ("vdb", "vdc", "vdd", "vde")
STRIPE = array(Level.RAID0, [member(name, slot) for slot, name in enumerate(NAMES)])
TRIAL = PastTrial(
    read=Figure(rate=80e6, low=79e6, high=81e6),
    write=None,
    read_workload=SEQUENTIAL_READ,
    write_workload=SEQUENTIAL_WRITE,
    at_seconds=1_790_000_000.0,
)
SHORT = Grounds().tolerances.short


def read_at(rate: float, past: PastTrial = TRIAL) -> ArrayVerdict:
    """The stripe at that rate, each of its four drives at a quarter of it: as theory allows."""
    members = {name: measured(name, rate / 4) for name in NAMES}
    attempts: dict[str, Attempt] = {**members, "md0": measured("md0", rate)}
    verdict = assess_array(host([STRIPE]), STRIPE, attempts, Grounds())
    assert verdict.pace is Pace.AS_EXPECTED
    return with_trial(verdict, past, SHORT)


def share_of(verdict: ArrayVerdict) -> float | None:
    assert verdict.since_trial is not None
    return verdict.since_trial.share


def test_drives_that_all_slowed_alike_are_found_by_the_trial_alone() -> None:
    """Half the rate: their peers are as slow, so that theory has nothing against them."""
    verdict = read_at(40e6)
    assert (verdict.pace, verdict.cause) == (Pace.SHORT, Cause.BELOW_TRIAL)
    assert share_of(verdict) == -0.5
    told = array_sentence(verdict)
    assert "the trial of 2026-09-21" in told
    assert "read 80.0 MB/s, and it is 50% slower" in told


@pytest.mark.parametrize("rate", [79e6 * SHORT + 1e3, 80e6, 120e6])
def test_as_fast_as_then_or_nearly_is_as_expected(rate: float) -> None:
    verdict = read_at(rate)
    assert (verdict.pace, verdict.cause) == (Pace.AS_EXPECTED, None)
    assert share_of(verdict) == pytest.approx(rate / 80e6 - 1)


def test_the_least_that_the_trial_may_have_meant_is_what_counts() -> None:
    rough = replace(TRIAL, read=Figure(rate=80e6, low=50e6, high=110e6))
    assert read_at(50e6, rough).pace is Pace.AS_EXPECTED
    assert read_at(40e6, rough).pace is Pace.SHORT
    exact = replace(TRIAL, read=Figure(rate=80e6))
    assert read_at(60e6, exact).pace is Pace.SHORT


def test_a_rate_that_is_not_well_known_accuses_by_its_upper_end_only() -> None:
    verdict = read_at(60e6)
    assert verdict.pace is Pace.SHORT
    unsure = replace(measured("md0", 60e6), low_bytes_per_second=40e6, high_bytes_per_second=80e6)
    fresh = replace(verdict, attempt=unsure, pace=Pace.AS_EXPECTED, cause=None)
    assert with_trial(fresh, TRIAL, SHORT).pace is Pace.AS_EXPECTED


def test_what_was_asked_otherwise_is_not_compared() -> None:
    deeper = replace(TRIAL, read_workload=replace(SEQUENTIAL_READ, queue_depth=1))
    verdict = read_at(40e6, deeper)
    assert verdict.pace is Pace.AS_EXPECTED
    assert share_of(verdict) is None
    assert array_sentence(verdict) == array_sentence(replace(verdict, since_trial=None))


def test_a_degraded_array_is_not_held_to_what_it_did_when_whole() -> None:
    lost = member("vde", 3, states=FAILED)
    parity = array(Level.RAID5, [*(member(n, s) for s, n in enumerate(NAMES[:3])), lost])
    attempts: dict[str, Attempt] = {name: measured(name, 10e6) for name in NAMES[:3]}
    attempts["md0"] = measured("md0", 20e6)
    verdict = assess_array(host([parity]), parity, attempts, Grounds())
    assert verdict.pace is not Pace.NOT_MEASURED
    after = with_trial(verdict, TRIAL, SHORT)
    assert share_of(after) is None
    assert (after.pace, after.cause) == (verdict.pace, verdict.cause)


def test_an_array_that_is_being_checked_is_not_held_to_what_it_did_at_rest() -> None:
    """As `check --regardless` reads it: md's own reads take a part."""
    verdict = read_at(40e6)
    busy = replace(verdict.array, sync_action=SyncAction.CHECK)
    again = replace(verdict, array=busy, pace=Pace.AS_EXPECTED, cause=None)
    assert with_trial(again, TRIAL, SHORT).pace is Pace.AS_EXPECTED


def test_what_was_not_measured_to_an_end_is_not_compared() -> None:
    cut = replace(measured("md0", 10e6), outcome=Outcome.GAVE_WAY)
    attempts: dict[str, Attempt] = {**{n: measured(n, 20e6) for n in NAMES}, "md0": cut}
    verdict = with_trial(assess_array(host([STRIPE]), STRIPE, attempts, Grounds()), TRIAL, SHORT)
    assert verdict.pace is Pace.NOT_MEASURED
    assert share_of(verdict) is None


def test_a_shortfall_that_theory_explains_keeps_its_reason() -> None:
    slow: dict[str, Attempt] = {name: measured(name, 20e6) for name in NAMES}
    slow |= {"vdd": measured("vdd", 5e6), "md0": measured("md0", 20e6)}
    verdict = assess_array(host([STRIPE]), STRIPE, slow, Grounds())
    after = with_trial(verdict, TRIAL, SHORT)
    assert after.cause is Cause.SLOW_MEMBER
    assert share_of(after) == -0.75


def test_it_is_an_incident_of_the_array_and_over_when_it_is_as_fast_as_then() -> None:
    book = IncidentBook()
    for moment, rate in enumerate((40e6, 80e6, 80e6, 80e6)):
        verdict = read_at(rate)
        status = Status(host=host([STRIPE]), arrays=(verdict,), devices=(), seconds=1.0)
        book, _ = advance(book, observe_status(status), 3600.0 * moment)
        if moment == 0:
            [incident] = book.open
            assert incident.finding.cause.name == "md0"
            assert incident.finding.signature == str(Cause.BELOW_TRIAL)
    assert not book.open
