"""What a trial measured of an option, beside what the model predicts of it. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from arraygauge.judge.past_trial import Figure
from arraygauge.theory.plan import Option, PlannedOption, Prediction, recommended_option
from arraygauge.theory.plan_front import by_balance
from arraygauge.theory.values import Expectation
from arraygauge.values import frozen

ALIKE = 0.05
"""Options whose measured merits differ by less are taken for equals: a repeated measurement
differs by about as much (practice.md, same drive and place ± 3 to 5 %, common practice)."""


@frozen
class Trialled:
    """One option as it was built and measured. A figure is None where there is none, and
    ``problem`` says why. ``written_bytes`` is what all members took, by the kernel's count."""

    option: Option
    read: Figure | None
    write: Figure | None
    problem: str | None
    at_seconds: float
    seconds: float
    read_bytes: int
    written_bytes: int

    @property
    def whole(self) -> bool:
        """Whether both directions were measured."""
        return self.read is not None and self.write is not None


@frozen
class Compared:
    """An option measured and predicted."""

    trialled: Trialled
    prediction: Prediction

    @property
    def read_miss(self) -> float | None:
        return miss(self.trialled.read, self.prediction.read)

    @property
    def write_miss(self) -> float | None:
        return miss(self.trialled.write, self.prediction.write)


@frozen
class Choice:
    """``measured`` is what the figures recommend, ``predicted`` what the model does. They agree
    where the model's option is, in what was measured, as good as the other within ``ALIKE``."""

    measured: Compared
    predicted: Compared
    agree: bool


def miss(figure: Figure | None, band: Expectation) -> float | None:
    """How far the rate lies outside the band, as a share of the nearer edge: negative below it,
    nought within, None where nothing was measured."""
    if figure is None:
        return None
    floor, ceiling = band.floor_bytes_per_second, band.ceiling_bytes_per_second
    if figure.rate < floor:
        return figure.rate / floor - 1
    return max(0.0, figure.rate / ceiling - 1)


def choice_of(options: Sequence[Compared]) -> Choice | None:
    """The recommended option by what was measured and by what was predicted, of those that were
    measured whole; None where none was."""
    whole = [each for each in options if each.trialled.whole]
    if not whole:
        return None
    by_figures = {_planned(_as_measured(each)): each for each in whole}
    by_model = {_planned(each.prediction): each for each in whole}
    best = recommended_option(by_figures)
    expected = recommended_option(by_model)
    if best is None or expected is None:
        return None
    measured, predicted = by_figures[best], by_model[expected]
    shown = next(each for each, of in by_figures.items() if of is predicted)
    return Choice(
        measured=measured,
        predicted=predicted,
        agree=_as_good(by_figures, shown, best),
    )


def _planned(prediction: Prediction) -> PlannedOption:
    return PlannedOption(prediction=prediction, gain=None, one_more=None)


def _as_measured(each: Compared) -> Prediction:
    """The prediction with the measured rates in the place of its bands."""
    read, write = each.trialled.read, each.trialled.write
    assert read is not None  # only of options measured whole
    assert write is not None
    return replace(
        each.prediction,
        read=_exactly(each.prediction.read, read.rate),
        write=_exactly(each.prediction.write, write.rate),
    )


def _exactly(band: Expectation, rate: float) -> Expectation:
    return replace(band, floor_bytes_per_second=rate, ceiling_bytes_per_second=rate)


def _as_good(
    options: dict[PlannedOption, Compared], one: PlannedOption, best: PlannedOption
) -> bool:
    """Whether it would be recommended if its rates had come out a little higher."""
    if one == best:
        return True
    prediction = one.prediction
    lifted = replace(
        prediction,
        read=_exactly(prediction.read, prediction.read.ceiling_bytes_per_second * (1 + ALIKE)),
        write=_exactly(prediction.write, prediction.write.ceiling_bytes_per_second * (1 + ALIKE)),
    )
    raised = _planned(lifted)
    others = [each for each in options if each != one]
    ranked = by_balance([raised, *others])
    return ranked.index(raised) <= ranked.index(best) and (
        one.prediction.survives.guaranteed >= min(1, best.prediction.survives.guaranteed)
    )
