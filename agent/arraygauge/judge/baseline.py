"""What a device or array usually does: learned once, then held fixed. Pure.

A baseline is a robust middle and spread of the first ``READINGS_NEEDED`` readings of one
subject in one direction under one workload. Nothing moves it afterwards but new hardware or a
person's word, so that a slow fault cannot become the usual. Of what may change a rate without
a fault only temperature is taken out here; the place on the device is taken out before, by the
line through the probe's places (probe/centre.py).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from math import hypot, sqrt
from statistics import NormalDist, median

from arraygauge.judge.robust import band_deviation, mad, mann_kendall, theil_slope
from arraygauge.probe.values import Measurement
from arraygauge.theory.values import Direction
from arraygauge.values import frozen

READINGS_NEEDED = 168
"""A week of hourly passes. For readings with an autocorrelation of 0.3 the median's standard
error is then an eighth of the spread, and that of the MAD a tenth."""
APART_SECONDS = 840.0
"""Readings closer together are learned as one, so that learning spans a day with its warm and
cold hours however often somebody probes: passes every 900 s fill it in 42 hours."""
SPREAD_FLOOR = 0.01
"""A rate that repeats perfectly for days may still move by this without anything being wrong.
Common practice, no published source."""
SPREAD_MARGIN = 1.07
"""The spread may be learned too narrow by chance; it is taken wider by most of its own
standard error (the idea of Gandy and Kvaloy, Scandinavian Journal of Statistics 2013)."""
MOST = 0.85
TAILS_SURE = 1.25
"""Where the band of ``MOST`` readings says that the spread is that many times what the MAD says,
the noise has longer tails than the normal distribution (a drive that others use at times), and
the band is believed. Of 168 normal readings one set in a hundred says so by chance (simulated)."""
SETTLED_WITHIN = 0.05
"""If the last quarter of the readings differs from the first by more, the device was changing
while it was learned."""
INTERVAL_TO_ERROR = 1 / NormalDist().inv_cdf(0.975)
WARMTH_RANGE_CELSIUS = 3.0
"""Over less than this, sensors of whole degrees show no line."""
WARMTH_SURE = 4.0
"""Kendall's statistic in its standard deviations: 3, widened for autocorrelation."""


@frozen
class BaselineKey:
    """``stable_id`` is the drive's, partition's or array's; ``workload`` an opaque word for
    everything else that was asked and by which route."""

    stable_id: str
    direction: Direction
    workload: str


@frozen
class Reading:
    """One usable measurement. ``error`` is the rate's standard error as a share of it, from
    the measurement's interval; None where there were too few places for one. ``empty_share``
    of the places it was read at held nothing."""

    moment_seconds: float
    bytes_per_second: float
    error: float | None
    celsius: float | None
    empty_share: float | None = None


@frozen
class Warmth:
    """How the rate follows temperature: a share of it for each degree away from ``middle``,
    known between the lowest and highest temperature learned and not beyond."""

    per_celsius: float
    middle_celsius: float
    low_celsius: float
    high_celsius: float


@frozen
class Learning:
    """A baseline that is not there yet. ``fingerprint`` is the hardware's, opaque."""

    key: BaselineKey
    fingerprint: str
    readings: tuple[Reading, ...] = ()


@frozen
class Baseline:
    """What is usual. ``bytes_per_second`` at the middle temperature; ``spread`` and
    ``usual_error`` (of one measurement by itself, part of the spread) as shares of it.
    ``learned_at_seconds`` is the last reading's moment. ``usual_celsius`` and
    ``usual_empty_share`` are what went with it, where that was known."""

    key: BaselineKey
    fingerprint: str
    bytes_per_second: float
    spread: float
    usual_error: float | None
    warmth: Warmth | None
    learned_from: int
    learned_at_seconds: float
    usual_celsius: float | None = None
    usual_empty_share: float | None = None


@frozen
class Deviation:
    """A reading against its baseline: as a share of what was expected, negative for slower,
    and how many spreads (its own excess uncertainty included) that is."""

    share: float
    spreads: float


def key_of(stable_id: str, measurement: Measurement) -> BaselineKey:
    """What may be compared with each other: the same subject, asked the same by one route."""
    asked = measurement.workload
    words = (
        measurement.route,
        asked.access,
        asked.transfer_bytes,
        asked.queue_depth,
        asked.streams,
        asked.offset_bytes,
    )
    return BaselineKey(
        stable_id=stable_id, direction=asked.direction, workload=" ".join(map(str, words))
    )


def reading_of(measurement: Measurement) -> Reading | None:
    """None where the rate may not be judged: a gap, which is no evidence of anything."""
    rate, half = measurement.bytes_per_second, measurement.uncertainty
    if not measurement.usable or not rate:
        return None
    return Reading(
        moment_seconds=measurement.started_at_seconds,
        bytes_per_second=rate,
        error=half * INTERVAL_TO_ERROR if half is not None else None,
        celsius=measurement.temperature_celsius,
        empty_share=_empty_share(measurement),
    )


def on_hardware(
    known: Learning | Baseline | None, key: BaselineKey, fingerprint: str
) -> Learning | Baseline:
    """What is known, if it was learned on this hardware; else a new beginning."""
    if known is not None and (known.key, known.fingerprint) == (key, fingerprint):
        return known
    return Learning(key=key, fingerprint=fingerprint)


def accept(known: Learning | Baseline, readings: Sequence[Reading] = ()) -> Learning:
    """A person says that what the subject does now is right: learn anew, beginning with the
    readings since it changed, if there are any."""
    fresh = Learning(key=known.key, fingerprint=known.fingerprint)
    for reading in readings:
        if _is_apart(fresh, reading):
            fresh = replace(fresh, readings=(*fresh.readings, reading))
    return fresh


def learn(learning: Learning, reading: Reading) -> Learning | Baseline:
    """One more reading; the baseline once there are enough.

    A subject that changed while it was learned is not settled: the older half is dropped.
    """
    if not _is_apart(learning, reading):
        return learning
    readings = (*learning.readings, reading)
    if len(readings) < READINGS_NEEDED:
        return replace(learning, readings=readings)
    if not _is_settled(readings):
        return replace(learning, readings=readings[len(readings) // 2 :])
    return _learned(learning, readings)


def expected_rate(baseline: Baseline, celsius: float | None) -> float:
    """Bytes per second at this temperature; beyond those learned, as at the nearest one: a
    drive that throttles is not excused by being hot."""
    warmth = baseline.warmth
    if warmth is None or celsius is None:
        return baseline.bytes_per_second
    near = min(max(celsius, warmth.low_celsius), warmth.high_celsius)
    return baseline.bytes_per_second * (1 + warmth.per_celsius * (near - warmth.middle_celsius))


def deviation_of(baseline: Baseline, reading: Reading) -> Deviation:
    """A reading less sure than usual weighs less: the excess widens the spread.

    Without an interval where there usually is one, it counts as twice as unsure as usual.
    """
    share = reading.bytes_per_second / expected_rate(baseline, reading.celsius) - 1
    spread = hypot(
        baseline.spread, _excess_error(baseline, reading), _warmth_unknown(baseline, reading)
    )
    return Deviation(share=share, spreads=share / spread)


def middle(values: Iterable[float | None]) -> float | None:
    """The median of those that are known."""
    known = [value for value in values if value is not None]
    return median(known) if known else None


def _empty_share(measurement: Measurement) -> float | None:
    empty, filled = len(measurement.set_aside), len(measurement.places)
    return empty / (empty + filled) if empty + filled else None


def _is_apart(learning: Learning, reading: Reading) -> bool:
    """A clock set back makes no reading less welcome."""
    if not learning.readings:
        return True
    return abs(reading.moment_seconds - learning.readings[-1].moment_seconds) >= APART_SECONDS


def _is_settled(readings: Sequence[Reading]) -> bool:
    quarter = len(readings) // 4
    first = median(each.bytes_per_second for each in readings[:quarter])
    last = median(each.bytes_per_second for each in readings[-quarter:])
    return abs(last / first - 1) <= SETTLED_WITHIN


def _learned(learning: Learning, readings: Sequence[Reading]) -> Baseline:
    warmth = _warmth(readings)
    errors = [each.error for each in readings if each.error is not None]
    plain = Baseline(
        key=learning.key,
        fingerprint=learning.fingerprint,
        bytes_per_second=median(each.bytes_per_second for each in readings),
        spread=SPREAD_FLOOR,
        usual_error=median(errors) if 2 * len(errors) > len(readings) else None,
        warmth=warmth,
        learned_from=len(readings),
        learned_at_seconds=readings[-1].moment_seconds,
        usual_celsius=middle(each.celsius for each in readings),
        usual_empty_share=middle(each.empty_share for each in readings),
    )
    ratios = [each.bytes_per_second / expected_rate(plain, each.celsius) for each in readings]
    centre = median(ratios)
    return replace(
        plain,
        bytes_per_second=plain.bytes_per_second * centre,
        spread=max(SPREAD_FLOOR, SPREAD_MARGIN * _spread(ratios) / centre),
    )


def _spread(ratios: Sequence[float]) -> float:
    near, most = mad(ratios), band_deviation(ratios, MOST)
    return most if most > TAILS_SURE * near else near


def _warmth(readings: Sequence[Reading]) -> Warmth | None:
    """The line through rate and temperature, where there surely is one."""
    points = [
        (each.celsius, each.bytes_per_second) for each in readings if each.celsius is not None
    ]
    if 2 * len(points) <= len(readings):
        return None
    low, high = min(points)[0], max(points)[0]
    slope = theil_slope(points)
    if high - low < WARMTH_RANGE_CELSIUS or slope is None or not _follows(points):
        return None
    return Warmth(
        per_celsius=slope / median(rate for _, rate in points),
        middle_celsius=median(celsius for celsius, _ in points),
        low_celsius=low,
        high_celsius=high,
    )


def _follows(points: Sequence[tuple[float, float]]) -> bool:
    """Whether the rate goes up or down with temperature more than chance would."""
    by_warmth = [rate for _, rate in sorted(points, key=lambda point: point[0])]
    return abs(mann_kendall(by_warmth).deviations) >= WARMTH_SURE


def _excess_error(baseline: Baseline, reading: Reading) -> float:
    usual = baseline.usual_error if baseline.usual_error is not None else baseline.spread
    if reading.error is None:
        return usual * sqrt(3.0) if baseline.usual_error is not None else 0.0
    return sqrt(max(0.0, reading.error**2 - usual**2))


def _warmth_unknown(baseline: Baseline, reading: Reading) -> float:
    """What not knowing the temperature leaves open, where the rate follows it."""
    warmth = baseline.warmth
    if warmth is None or reading.celsius is not None:
        return 0.0
    return abs(warmth.per_celsius) * (warmth.high_celsius - warmth.low_celsius) / 2
