"""A plan for scripts: base units, unknown as null."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from arraygauge.tell.plan import PlanTelling
from arraygauge.theory import Expectation
from arraygauge.theory.plan import Gain, PlannedOption, Prediction, Supply
from arraygauge.theory.rebuild import Limit, SyncPace

PLAN_FORMAT = "arraygauge.plan/1"

Document = dict[str, Any]


def plan_json(telling: PlanTelling) -> str:
    """The document of `arraygauge plan --json`: all options, the best first."""
    plan = telling.plan
    document = {
        "format": PLAN_FORMAT,
        "asked": {"read": asdict(plan.asked.read), "write": asdict(plan.asked.write)},
        "supposed": list(telling.supposed),
        **_supply(telling),
        "best": [_option(each) for each in plan.best],
        "others": [_option(each) for each in plan.others],
        "what_if": [
            {"change": each.change, **_prediction(each.prediction)} for each in telling.what_ifs
        ],
    }
    return json.dumps(document, indent=2, allow_nan=False)


def _supply(telling: PlanTelling) -> Document:
    supply: Supply = telling.plan.supply
    return {
        "drives": [
            {**asdict(drive), "known_by": telling.known_by.get(drive.name, drive.rate.source)}
            for drive in supply.drives
        ],
        "left_out": [{"name": name, "reason": why} for name, why in telling.left_out],
        "links": [asdict(link) for link in supply.links],
        "parity_bytes_per_second": supply.parity_bytes_per_second,
        "parity_source": None if supply.parity_bytes_per_second is None else supply.parity_source,
    }


def _option(planned: PlannedOption) -> Document:
    return {
        **_prediction(planned.prediction),
        "gain_over_one_fewer": _gain(planned.gain),
        "gain_of_one_more": _gain(planned.one_more),
    }


def _prediction(found: Prediction) -> Document:
    option, rebuild = found.option, found.rebuild
    return {
        "level": option.level,
        "layout": option.layout,
        "name": option.name,
        "chunk_bytes": option.chunk_bytes,
        "members": list(option.members),
        "usable_bytes": found.capacity.usable_bytes,
        "idle_bytes": found.capacity.idle_bytes,
        "survives_guaranteed": found.survives.guaranteed,
        "survives_at_best": found.survives.at_best,
        "read": _band(found.read),
        "write": _band(found.write),
        "rebuild_fastest": _pace(rebuild.fastest) if rebuild else None,
        "rebuild_slowest": _pace(rebuild.slowest) if rebuild else None,
    }


def _band(expectation: Expectation) -> Document:
    return {
        "floor_bytes_per_second": expectation.floor_bytes_per_second,
        "ceiling_bytes_per_second": expectation.ceiling_bytes_per_second,
        "bottleneck": expectation.bottleneck.name,
        "bottleneck_kind": expectation.bottleneck.kind,
        "bottleneck_source": expectation.bottleneck.source,
        "depth_bound": expectation.depth_bound,
    }


def _pace(pace: SyncPace) -> Document:
    bound = pace.bound_by
    return {
        "seconds": pace.seconds,
        "bytes_per_second": pace.bytes_per_second,
        "bound_by": str(bound) if isinstance(bound, Limit) else bound.name,
    }


def _gain(gain: Gain | None) -> Document | None:
    return None if gain is None else {**asdict(gain), "nothing": gain.nothing}
