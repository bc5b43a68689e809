"""Choosing an array before it is made: every sensible option for drives at hand or on paper.

The figures are those of the same model that arrays which run are held to: see README.md.
"""

from __future__ import annotations

from dataclasses import replace

from arraygauge.theory.plan_changes import with_one_more_drive
from arraygauge.theory.plan_front import in_order, pareto_front, recommended_option
from arraygauge.theory.plan_options import enumerate_options, pools
from arraygauge.theory.plan_predict import Predictor, model_of, predict
from arraygauge.theory.plan_values import (
    Asked,
    Gain,
    Option,
    Plan,
    PlannedDrive,
    PlannedOption,
    Prediction,
    Scope,
    Supply,
)
from arraygauge.theory.values import Expectation

__all__ = [
    "Asked",
    "Gain",
    "Option",
    "Plan",
    "PlannedDrive",
    "PlannedOption",
    "Prediction",
    "Scope",
    "Supply",
    "enumerate_options",
    "gain_of",
    "make_plan",
    "model_of",
    "pareto_front",
    "pools",
    "predict",
    "recommended_option",
]


def make_plan(supply: Supply, asked: Asked | None = None, scope: Scope | None = None) -> Plan:
    """All options predicted, the best first; empty where the drives make none."""
    work = asked or Asked()
    predictor = Predictor(supply, work)
    found = {option: predictor.predict(option) for option in enumerate_options(supply, scope)}
    gains = {
        option: gain_of(found[fewer], prediction)
        for option, prediction in found.items()
        if (fewer := replace(option, members=option.members[:-1])) in found
    }
    further = {replace(option, members=option.members[:-1]): gain for option, gain in gains.items()}
    options = tuple(
        PlannedOption(prediction=prediction, gain=gains.get(option), one_more=further.get(option))
        for option, prediction in found.items()
    )
    front = pareto_front(options)
    kept = {each.option for each in front}
    return Plan(
        supply=supply,
        asked=work,
        best=in_order(_with_one_more(supply, work, each) for each in front),
        others=tuple(each for each in options if each.option not in kept),
    )


def gain_of(before: Prediction, after: Prediction) -> Gain:
    """What one brings over the other."""
    return Gain(
        read=_change(before.read, after.read),
        write=_change(before.write, after.write),
        survives=after.survives.guaranteed - before.survives.guaranteed,
    )


def _change(before: Expectation, after: Expectation) -> float:
    return after.ceiling_bytes_per_second / before.ceiling_bytes_per_second - 1


def _with_one_more(supply: Supply, asked: Asked, planned: PlannedOption) -> PlannedOption:
    """Of an option that takes all drives there are: one more of them, on paper."""
    if planned.one_more is not None:
        return planned
    wider, name = with_one_more_drive(supply, planned.option)
    option = replace(planned.option, members=(*planned.option.members, name))
    gain = gain_of(planned.prediction, predict(wider, option, asked))
    return replace(planned, one_more=gain)
