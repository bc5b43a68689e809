"""A trial for scripts: base units, unknown as null."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from arraygauge.judge.past_trial import Figure
from arraygauge.judge.trialled import Choice, Compared, Trialled
from arraygauge.tell.trial import TrialTelling
from arraygauge.theory.plan import Option
from arraygauge.theory.values import Expectation

TRIAL_FORMAT = "arraygauge.trial/1"

Document = dict[str, Any]


def trial_json(telling: TrialTelling) -> str:
    """The document of `arraygauge trial --json`."""
    return json.dumps(
        {
            "format": TRIAL_FORMAT,
            "finished": telling.finished,
            "options_left": telling.left,
            "alone": [_trialled(each) for each in telling.alone],
            "options": [_compared(each) for each in telling.compared],
            "unpredicted": [_trialled(each) for each in telling.unpredicted],
            "recommended": _choice(telling.choice),
        },
        indent=2,
        allow_nan=False,
    )


def _compared(each: Compared) -> Document:
    found = each.prediction
    return {
        **_trialled(each.trialled),
        "predicted": {"read": _band(found.read), "write": _band(found.write)},
        "usable_bytes": found.capacity.usable_bytes,
        "failures_survived": found.survives.guaranteed,
        "read_miss": each.read_miss,
        "write_miss": each.write_miss,
    }


def _trialled(each: Trialled) -> Document:
    return {
        **_option(each.option),
        "read": _figure(each.read),
        "write": _figure(each.write),
        "problem": each.problem,
        "at_seconds": each.at_seconds,
        "seconds": each.seconds,
        "read_bytes": each.read_bytes,
        "written_bytes": each.written_bytes,
    }


def _option(option: Option) -> Document:
    return {
        "name": option.name,
        "level": str(option.level),
        "members": list(option.members),
        "chunk_bytes": option.chunk_bytes,
        "layout": option.layout,
    }


def _figure(figure: Figure | None) -> Document | None:
    if figure is None:
        return None
    return {
        "bytes_per_second": figure.rate,
        "low_bytes_per_second": figure.low,
        "high_bytes_per_second": figure.high,
    }


def _band(band: Expectation) -> Document:
    return {
        "floor_bytes_per_second": band.floor_bytes_per_second,
        "ceiling_bytes_per_second": band.ceiling_bytes_per_second,
        "bottleneck": band.bottleneck.name,
        "depth_bound": band.depth_bound,
        "assumptions": list(band.assumptions),
        "workload": asdict(band.workload),
    }


def _choice(choice: Choice | None) -> Document | None:
    if choice is None:
        return None
    return {
        "by_measurement": _option(choice.measured.trialled.option),
        "by_model": _option(choice.predicted.trialled.option),
        "agree": choice.agree,
    }
