"""One probing: how many bursts, what is kept of them, and what they show together.

The prober is replaced by one that answers from a drive whose rate at each place is known.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import (
    LatencyQuantiles,
    Outcome,
    Skipped,
    SkipReason,
)
from unit.probe.sampled_drive import (
    LIMITS,
    PATIENT,
    FakeDrive,
    FakeLookout,
    attempt,
    measured,
    noisy,
    plan,
)

MIB = 1 << 20


@pytest.fixture(autouse=True)
def nobody_else(monkeypatch: pytest.MonkeyPatch) -> None:
    """This machine's own work is no matter here."""
    monkeypatch.setattr("arraygauge.probe.sampling.CounterLookout", FakeLookout)
    monkeypatch.setattr(FakeLookout, "said", ())


@pytest.fixture
def others(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Who is at work before each burst."""

    def say(*words: str | None) -> None:
        monkeypatch.setattr(FakeLookout, "said", words)

    return say


def test_places_that_agree_are_enough_after_one_burst_of_six() -> None:
    made = measured(FakeDrive(rate_at=noisy(0.01)))
    assert (made.outcome, made.detail, made.bursts) == (Outcome.COMPLETED, None, 1)
    assert len(made.places) == 6
    assert made.bytes_per_second == pytest.approx(200e6, rel=0.01)
    assert made.uncertainty is not None
    assert made.uncertainty <= 0.03
    assert made.usable


def test_fewer_than_six_places_are_never_enough_however_they_agree() -> None:
    made = measured(FakeDrive(), replace(LIMITS, places=5))
    assert made.bursts == 2
    assert len(made.places) == 10


def test_places_that_disagree_are_asked_for_more_until_the_median_is_known() -> None:
    made = measured(FakeDrive(rate_at=noisy(0.08)), replace(LIMITS, max_seconds=60))
    assert made.outcome is Outcome.COMPLETED
    assert made.bursts > 1
    assert len(made.places) == 6 * made.bursts
    assert made.uncertainty is not None
    assert made.uncertainty <= 0.03


def test_no_burst_is_made_beyond_the_seconds() -> None:
    made = measured(
        FakeDrive(rate_at=noisy(0.5)), replace(LIMITS, max_seconds=3, max_bytes=1 << 40)
    )
    assert made.outcome is Outcome.BUDGET_SPENT
    assert made.usable, "the rate stands, with its interval"
    assert 3 <= made.seconds < 3 + 1.2
    assert made.uncertainty is not None
    assert made.uncertainty > 0.03


@given(
    max_mib=st.integers(0, 4000),
    burst_mib=st.integers(1, 1000),
    share_count=st.integers(1, 4),
    seed=st.integers(0, 1000),
)
def test_no_probing_may_read_more_bytes_than_allowed(
    *, max_mib: int, burst_mib: int, share_count: int, seed: int
) -> None:
    limits = replace(LIMITS, max_bytes=max_mib * MIB, burst_bytes=burst_mib * MIB, max_seconds=60)
    fake = FakeDrive(rate_at=noisy(0.5, seed))
    made = measured(fake, limits, plan(share_count=share_count), seed)
    allowed = max_mib * MIB * share_count
    assert made.bytes_read <= allowed
    spent = 0
    for asked, read in zip(fake.requests, fake.bytes_read, strict=True):
        assert asked.max_bytes <= min(burst_mib * MIB * share_count, allowed - spent)
        spent += read


def test_bytes_that_would_only_fill_the_queue_are_not_spent() -> None:
    """Eight in flight at six places: under 96 MiB nothing but the first and the last queue
    would be read."""
    fake = FakeDrive()
    made = measured(fake, replace(LIMITS, max_bytes=95 * MIB))
    assert fake.requests == []
    assert (made.outcome, made.bytes_per_second) == (Outcome.BUDGET_SPENT, None)
    assert not made.usable
    assert "too few to measure it" in (made.detail or "")
    assert measured(FakeDrive(), replace(LIMITS, max_bytes=96 * MIB)).usable


def test_every_burst_reads_other_places_all_over_the_device() -> None:
    fake = FakeDrive(rate_at=noisy(0.5))
    measured(fake, replace(LIMITS, max_seconds=4))
    starts = [[extent.start_bytes for extent in asked.extents] for asked in fake.requests]
    assert len(starts) > 2
    assert len({start for burst in starts for start in burst}) == 6 * len(starts)
    for burst in starts:
        assert [start * 6 // fake.size_bytes for start in burst] == [0, 1, 2, 3, 4, 5]


def test_what_is_asked_of_the_device_is_what_the_limits_and_the_plan_say() -> None:
    fake = FakeDrive()
    sensor = "/sys/class/hwmon/hwmon0/temp1_input"
    measured(fake, of=plan(temperature_file=sensor, hottest_celsius=61.0))
    (asked,) = fake.requests
    assert (asked.temperature_file, asked.hottest_celsius) == (sensor, 61.0)
    assert asked.longest_seconds == LIMITS.longest_burst_seconds
    assert asked.deadline_seconds == LIMITS.longest_burst_seconds + LIMITS.grace_seconds
    assert asked.max_bytes == LIMITS.burst_bytes


def test_zeros_of_a_solid_state_drive_are_set_aside() -> None:
    """Half of it was never written: the rate is that of the other half, not of empty flash."""
    fake = FakeDrive(
        rate_at=lambda where: 500e6 if where < 0.5 else 6e9, zero_at=lambda where: where >= 0.5
    )
    made = measured(fake, replace(LIMITS, max_bytes=1 << 40, burst_bytes=1 << 40))
    assert made.outcome is Outcome.COMPLETED
    assert made.bursts == 2, "three places of a burst are too few to say how surely"
    assert made.bytes_per_second == pytest.approx(500e6)
    assert len(made.places) == len(made.set_aside) == 6
    assert all(place.start_bytes < fake.size_bytes / 2 for place in made.places)


def test_zeros_of_a_drive_that_turns_count_as_any_other_data() -> None:
    made = measured(FakeDrive(zero_at=lambda _: True), of=plan(rotational=True))
    assert made.outcome is Outcome.COMPLETED
    assert made.set_aside == ()


def test_a_drive_that_holds_nothing_has_no_rate() -> None:
    made = measured(FakeDrive(zero_at=lambda _: True))
    assert made.outcome is Outcome.NOTHING_STORED
    assert (made.bytes_per_second, made.places) == (None, ())
    assert made.bursts == 2, "twelve places without any data are enough"
    assert len(made.set_aside) == 12
    assert "12 places that were read hold zeros" in (made.detail or "")
    assert not made.usable


def test_a_few_places_without_data_tell_of_themselves_only() -> None:
    """A filesystem's own tables may be blank where all else is full."""
    few = FakeDrive(zero_at=lambda _: True, endings=[Outcome.BUDGET_SPENT], places_before_end=2)
    made = measured(few, replace(LIMITS, max_seconds=0.5))
    assert (made.outcome, made.bytes_per_second) == (Outcome.BUDGET_SPENT, None)
    assert len(made.set_aside) == 2
    assert not made.usable


def test_a_disk_that_slows_toward_its_end_is_given_its_rate_at_the_middle() -> None:
    made = measured(
        FakeDrive(rate_at=lambda where: 200e6 - 100e6 * where), of=plan(rotational=True)
    )
    assert made.bursts == 1
    assert made.bytes_per_second == pytest.approx(150e6, rel=1e-3)
    assert made.slope == pytest.approx(-2 / 3, rel=1e-2)


def test_a_burst_that_gave_way_keeps_all_but_its_last_place_and_is_tried_again() -> None:
    """Two of its places were read; the second in the company of others."""
    fake = FakeDrive(endings=[Outcome.GAVE_WAY])
    made = measured(fake, PATIENT)
    assert made.outcome is Outcome.COMPLETED
    assert made.detail is None
    assert made.bursts == 2
    assert len(made.places) == 1 + 6
    first = [extent.start_bytes for extent in fake.requests[0].extents]
    kept = [place.start_bytes for place in made.places]
    assert first[0] in kept
    assert first[1] not in kept


def test_whoever_came_into_a_burst_must_have_paused_for_longer_before_the_next() -> None:
    fake = FakeDrive(endings=[Outcome.GAVE_WAY, Outcome.GAVE_WAY])
    measured(fake, replace(PATIENT, quiet_seconds=0.25))
    assert FakeLookout.waited == [0.25, 1.0, 4.0]


def test_no_quiet_is_waited_for_that_is_longer_than_patience() -> None:
    """Five times cut short, the next quiet would have to last 256 seconds."""
    fake = FakeDrive(endings=[Outcome.GAVE_WAY] * 5, places_before_end=1)
    made = measured(fake, replace(PATIENT, quiet_seconds=0.25))
    assert FakeLookout.waited == [0.25, 1.0, 4.0]
    assert made.outcome is Outcome.GAVE_WAY
    assert (made.detail or "").startswith(f"sda: {Outcome.GAVE_WAY}, once more; measuring would")


def test_others_who_work_on_are_left_alone_and_what_there_is_is_marked(
    others: Callable[..., None],
) -> None:
    others(None, *["others read from sda"] * 10_000)
    made = measured(
        FakeDrive(endings=[Outcome.GAVE_WAY], places_before_end=4),
        replace(LIMITS, patience_seconds=0.05),
    )
    assert made.outcome is Outcome.GAVE_WAY
    assert not made.usable
    assert len(made.places) == 3
    assert made.bytes_per_second == pytest.approx(200e6)
    assert made.low_bytes_per_second is None
    assert "others read from sda" in (made.detail or "")
    assert "tried again later" in (made.detail or "")


def test_a_device_in_use_is_skipped_unread(others: Callable[..., None]) -> None:
    others("others use md0")
    fake = FakeDrive()
    made = attempt(fake)
    assert isinstance(made, Skipped)
    assert made.reason is SkipReason.OTHERS_AT_WORK
    assert "others use md0" in made.detail
    assert fake.requests == []


def test_while_patience_lasts_a_pause_of_the_others_is_waited_for(
    others: Callable[..., None],
) -> None:
    others(*["others use md0"] * 5, None)
    made = measured(FakeDrive(), replace(LIMITS, patience_seconds=60))
    assert (made.outcome, made.bursts) == (Outcome.COMPLETED, 1)


def test_patience_ends(others: Callable[..., None]) -> None:
    others(*["others use md0"] * 10_000)
    began = time.monotonic()
    made = attempt(FakeDrive(), replace(LIMITS, patience_seconds=0.1))
    assert 0.1 <= time.monotonic() - began < 1
    assert isinstance(made, Skipped)


def test_told_to_stop_nobody_is_waited_for(others: Callable[..., None], stop: StopToken) -> None:
    others(*["others use md0"] * 10_000)
    fake = FakeDrive(stop=stop)
    stop.set()
    began = time.monotonic()
    assert isinstance(attempt(fake, replace(LIMITS, patience_seconds=60)), Skipped)
    assert time.monotonic() - began < 1


def test_regardless_of_others_it_is_read_without_a_lookout(others: Callable[..., None]) -> None:
    others("others use md0")
    fake = FakeDrive()
    made = measured(fake, replace(LIMITS, even_if_busy=True))
    assert made.outcome is Outcome.COMPLETED
    assert fake.lookouts == [None]


def test_bursts_that_all_give_way_end_with_the_seconds_and_without_a_rate() -> None:
    fake = FakeDrive(endings=[Outcome.GAVE_WAY] * 1000, places_before_end=1)
    made = measured(fake, PATIENT)
    assert made.outcome is Outcome.GAVE_WAY
    assert made.bytes_per_second is None
    assert made.seconds < LIMITS.max_seconds + 1


@pytest.mark.parametrize(
    "ending",
    [
        Outcome.READ_ERROR,
        Outcome.TIMED_OUT,
        Outcome.ABANDONED,
        Outcome.CRASHED,
        Outcome.VANISHED,
        Outcome.REFUSED,
        Outcome.TOO_HOT,
        Outcome.INTERRUPTED,
    ],
)
def test_a_burst_that_failed_is_the_last_and_what_was_read_is_kept_unjudged(
    ending: Outcome,
) -> None:
    fake = FakeDrive(endings=[Outcome.GAVE_WAY, ending])
    made = measured(fake, PATIENT)
    assert (made.outcome, made.detail) == (ending, f"sda: {ending}")
    assert made.bursts == len(fake.requests) == 2
    assert len(made.places) == 1 + 2
    assert not made.usable


def test_places_that_gave_no_rate_twice_end_it() -> None:
    """Too short or too slow to count a single transfer."""
    made = measured(FakeDrive(endings=[Outcome.BUDGET_SPENT] * 9, places_before_end=0))
    assert made.bursts == 2
    assert made.bytes_per_second is None


def test_latencies_and_the_temperature_of_the_last_burst_are_part_of_the_record() -> None:
    made = measured(FakeDrive(rate_at=noisy(0.5)), replace(LIMITS, max_seconds=3))
    assert made.bursts == 3
    assert made.temperature_celsius == 33.0
    assert made.latency == LatencyQuantiles(median=0.002, p90=0.002, p99=0.003, maximum=0.004)
    assert made.seconds == pytest.approx(3 * 1.08)
