"""Slow change, found by a CUSUM of how far readings lie from their baseline. Pure.

Slower is an alarm, faster is information. The chart's constants are chosen for passes that
lie alike in their noise (relative spread up to 2 %, autocorrelation up to 0.3): as many as
``QUIET_PASSES`` on average between false alarms of one subject, where its baseline is exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field, replace
from enum import StrEnum
from math import hypot, pi, sqrt
from statistics import median

from arraygauge.judge.baseline import (
    Baseline,
    Learning,
    Reading,
    accept,
    deviation_of,
    learn,
    middle,
)
from arraygauge.judge.change import CORRELATED, Change, Point, Shape, fit_change
from arraygauge.judge.charts import (
    Cusum,
    CusumState,
    Ewma,
    EwmaState,
    advance_cusum,
    advance_ewma,
    begin_ewma,
    ewma_limits,
)
from arraygauge.judge.robust import mann_kendall, theil_slope
from arraygauge.values import frozen

SUMS = Cusum(target=0.0, reference=1.75, decision=8.0)
"""In spreads of the baseline. What lasts is found beyond 1.75 of them: by mean, a change of
2 spreads after 25 passes, of 3 after 7 (Markov chain, as below). One per cent more each pass is
found within 12 passes at a relative spread up to 1.5 %; at 2 % one in thirty takes 13 or 14."""
QUIET_PASSES = 1.9e7
"""Mean passes to a false alarm on one side, by Markov chain with deviation ``CORRELATED``."""
CLIP = 4.0
"""One reading counts for no more spreads than this, so that no single one, however wild, nor
two or three raise an alarm."""
LEVEL = Ewma(target=0.0, deviation=CORRELATED, weight=0.2, width=3.0)
"""Smooths the present level, for showing; it raises no alarm."""

RECENT = 48
"""Readings kept as they are: what a change's shape is told from."""
BLOCK = 24
"""Readings that one remembered median stands for."""
BLOCKS = 60
"""Medians kept: at hourly passes two months, in which a creeping change has its beginning."""
BEFORE = 6
"""Readings that must be seen before a change to tell where it began."""
MEDIAN_TO_MEAN = sqrt(pi / 2)
"""The standard error of a median over that of the mean, for normal values."""
LONG_UNMEASURED = 12
"""After so many passes in a row without a usable reading, nothing is known of the present."""


class Course(StrEnum):
    SLOWER = "slower"
    FASTER = "faster"


class Watch(StrEnum):
    """Whether drift would be seen."""

    LEARNING = "still learning what is usual"
    UNMEASURED = "not measured lately"
    WATCHING = "watching"


@frozen
class Onset:
    """Since when, and what the change looks like; ``sure`` from 0.5 to 1 of that."""

    moment_seconds: float
    shape: Shape
    sure: float


@frozen
class DriftState:
    """All that is remembered beside the baseline. ``recent`` holds the newest readings,
    ``blocks`` medians of ``BLOCK`` deviations each; ``counted`` all readings since the
    baseline was learned; ``unusable`` the passes without one since the last reading."""

    sums: CusumState = field(default_factory=CusumState)
    level: EwmaState = field(default_factory=lambda: begin_ewma(LEVEL))
    course: Course | None = None
    onset: Onset | None = None
    recent: tuple[Reading, ...] = ()
    blocks: tuple[Point, ...] = ()
    counted: int = 0
    unusable: int = 0


@frozen
class DriftFinding:
    """A change that lasts. Shares are of the expected rate, negative for slower.

    ``share`` is how far it is now, between ``low_share`` and ``high_share`` with 95 %.
    ``per_day`` is a trend's share for each day, ``passes`` how many readings show the change,
    ``kendall`` how surely it still goes on (standard deviations, negative for falling; None
    for too few readings). ``celsius`` and ``empty_share`` are those since, where known.
    """

    course: Course
    onset: Onset
    share: float
    low_share: float
    high_share: float
    per_day: float | None
    passes: int
    kendall: float | None
    celsius: float | None
    empty_share: float | None
    baseline: Baseline


@frozen
class Level:
    """The smoothed present, as a share away from the expected rate, and its limits by chance."""

    share: float
    low_share: float
    high_share: float


@frozen
class Watched:
    """One subject under watch: what is usual and what was seen since."""

    usual: Learning | Baseline
    state: DriftState = field(default_factory=DriftState)


def follow(watched: Watched, reading: Reading | None) -> Watched:
    """One more pass; None for one that gave nothing to judge: a gap."""
    usual, state = watched.usual, watched.state
    if reading is None:
        return replace(watched, state=replace(state, unusable=state.unusable + 1))
    if isinstance(usual, Learning):
        return Watched(usual=learn(usual, reading))
    return replace(watched, state=advance_drift(usual, state, reading))


def accept_present(watched: Watched) -> Watched:
    """A person says that what the subject does now is right: learn anew, from the change on."""
    passes = _passes_since(watched.state)
    since = watched.state.recent[-passes:] if passes else ()
    return Watched(usual=accept(watched.usual, since))


def watch_of(watched: Watched) -> Watch:
    """What silence about this subject means."""
    if isinstance(watched.usual, Learning):
        return Watch.LEARNING
    return Watch.UNMEASURED if watched.state.unusable >= LONG_UNMEASURED else Watch.WATCHING


def advance_drift(baseline: Baseline, state: DriftState, reading: Reading) -> DriftState:
    """The next state. An alarm begins when a sum passes its decision value, where it is then
    held, and ends when the sum is back at nothing: a change undone is over in some passes."""
    deviation = deviation_of(baseline, reading)
    counts = min(max(deviation.spreads, -CLIP), CLIP)
    sums = advance_cusum(SUMS, state.sums, counts)
    course = _course(state.course, sums)
    recent = (*state.recent, reading)[-RECENT:]
    after = DriftState(
        sums=replace(
            sums, above=min(sums.above, SUMS.decision), below=min(sums.below, SUMS.decision)
        ),
        level=advance_ewma(LEVEL, state.level, counts),
        course=course,
        recent=recent,
        blocks=state.blocks,
        counted=state.counted + 1,
    )
    if after.counted % BLOCK == 0:
        block = _block(baseline, recent[-BLOCK:])
        after = replace(after, blocks=(*state.blocks, block)[-BLOCKS:])
    if course is None:
        return after
    onset = _onset(baseline, after) or state.onset or _onset_of_sum(after, course)
    return replace(after, onset=onset)


def find_drift(
    baseline: Baseline, state: DriftState, supposed: Course | None = None
) -> DriftFinding | None:
    """The change that lasts, if there is one; or the one ``supposed`` for other evidence."""
    course = state.course or supposed
    if course is None or not state.recent:
        return None
    onset = state.onset or _onset(baseline, state) or _onset_of_sum(state, course)
    state = replace(state, course=course, onset=onset)
    passes = max(_passes_since(state), 1)
    seen = state.recent[-passes:]
    shares = [deviation_of(baseline, reading).share for reading in seen]
    is_trend = onset.shape is Shape.TREND
    share = _end_of_line(shares) if is_trend else median(shares)
    error = _error(baseline, len(shares), is_trend=is_trend)
    days = (seen[-1].moment_seconds - onset.moment_seconds) / 86400
    return DriftFinding(
        course=course,
        onset=onset,
        share=share,
        low_share=share - 1.96 * error,
        high_share=share + 1.96 * error,
        per_day=share / days if is_trend and days > 0 else None,
        passes=passes,
        kendall=mann_kendall(shares).deviations / CORRELATED if passes >= 4 else None,
        celsius=middle(reading.celsius for reading in seen),
        empty_share=middle(reading.empty_share for reading in seen),
        baseline=baseline,
    )


def present_level(baseline: Baseline, state: DriftState) -> Level | None:
    """The smoothed level; None before the first reading."""
    if not state.counted:
        return None
    spreads = (state.level.average, *ewma_limits(LEVEL, state.level.values))
    share, low, high = (each * baseline.spread for each in spreads)
    return Level(share=share, low_share=low, high_share=high)


def _course(before: Course | None, sums: CusumState) -> Course | None:
    held = {Course.SLOWER: sums.below, Course.FASTER: sums.above}
    if before is not None and held[before] > 0:
        return before
    return next((course for course, total in held.items() if total > SUMS.decision), None)


def _block(baseline: Baseline, readings: Sequence[Reading]) -> Point:
    """Their median, in standard deviations: 2 spreads over the root of their number hold what
    medians, autocorrelation and the baseline's own error make of it."""
    deviations = [deviation_of(baseline, reading) for reading in readings]
    return Point(
        moment_seconds=readings[0].moment_seconds,
        value=median(each.spreads for each in deviations) * sqrt(len(readings)) / 2,
    )


def _onset(baseline: Baseline, state: DriftState) -> Onset | None:
    """Where the change began, in the readings or, before those, in the blocks; None where
    neither reaches back to what was before."""
    points = [
        Point(moment_seconds=reading.moment_seconds, value=deviation_of(baseline, reading).spreads)
        for reading in state.recent
    ]
    near = fit_change(points)
    if near.index >= BEFORE or len(state.blocks) < BEFORE:
        whole = state.counted <= len(points)
        return _as_onset(points, near) if near.index or whole else None
    far = fit_change(state.blocks)
    return _as_onset(state.blocks, far) if far.index else None


def _onset_of_sum(state: DriftState, course: Course) -> Onset:
    """The chart's own estimate: where its sum last was nothing (Montgomery 9.1.1)."""
    run = state.sums.below_run if course is Course.SLOWER else state.sums.above_run
    began = state.recent[-max(1, min(run, len(state.recent)))].moment_seconds
    return Onset(moment_seconds=began, shape=Shape.UNTOLD, sure=0.5)


def _as_onset(points: Sequence[Point], change: Change) -> Onset:
    at = points[change.index].moment_seconds
    return Onset(moment_seconds=at, shape=change.shape, sure=change.sure)


def _passes_since(state: DriftState) -> int:
    """How many of the recent readings lie after the onset. The first that does begins them:
    a clock set back later takes none away."""
    began = state.onset.moment_seconds if state.onset else float("inf")
    for index, reading in enumerate(state.recent):
        if reading.moment_seconds >= began:
            return len(state.recent) - index
    return 0


def _end_of_line(shares: Sequence[float]) -> float:
    """Where Theil's line through the shares is at the last of them."""
    slope = theil_slope(list(enumerate(shares))) or 0.0
    last = len(shares) - 1
    return median(share + slope * (last - index) for index, share in enumerate(shares))


def _error(baseline: Baseline, passes: int, *, is_trend: bool) -> float:
    """Standard error of the present share: of a median, or of a line's end (twice a mean's), and
    of the baseline's own median."""
    one = CORRELATED * MEDIAN_TO_MEAN * baseline.spread
    return one * hypot((2 if is_trend else 1) / sqrt(passes), 1 / sqrt(baseline.learned_from))
