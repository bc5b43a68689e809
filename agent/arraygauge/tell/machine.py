"""JSON for scripts: one versioned document a command, base units, unknown as null."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from arraygauge.inventory.values import Array, Host
from arraygauge.judge import ArrayVerdict, DeviceVerdict, Status
from arraygauge.judge.footage_values import Promise
from arraygauge.probe.values import Attempt, Measurement
from arraygauge.probe.wall_runs import WallReport
from arraygauge.tell.curve import Point
from arraygauge.tell.footage import footage_document, promise_document
from arraygauge.tell.footage_lists import FOOTAGE_FORMAT
from arraygauge.tell.sentences import array_sentence, device_sentence, why_not
from arraygauge.tell.writes import write_document
from arraygauge.theory import Derivation, Expectation, Workload
from arraygauge.theory.chunks import ChunkChoice
from arraygauge.theory.prospects import Prospects
from arraygauge.theory.walls import Wall

CHECK_FORMAT = "arraygauge.check/1"
INVENTORY_FORMAT = "arraygauge.inventory/1"
EXPLAIN_FORMAT = "arraygauge.explain/1"
WALLS_FORMAT = "arraygauge.walls/1"
CURVE_FORMAT = "arraygauge.curve/1"

Document = dict[str, Any]


def status_json(status: Status) -> str:
    """The document of `arraygauge check --json`."""
    return _dump(
        {
            "format": CHECK_FORMAT,
            "host": status.host.name,
            "taken_at_seconds": status.host.taken_at_seconds,
            "duration_seconds": status.seconds,
            "arrays": [_array(verdict) for verdict in status.arrays],
            "devices": [_device(verdict) for verdict in status.devices],
            "writes": [
                {**write_document(verdict), "expected": _expectation(verdict.expectation)}
                for verdict in status.writes
            ],
            "problems": [asdict(problem) for problem in status.host.problems],
        }
    )


def derivations_json(
    array: Array,
    derivations: Iterable[tuple[Workload, Derivation | None]],
    choices: tuple[ChunkChoice, ...],
    prospects: Prospects | None,
) -> str:
    """The document of `arraygauge explain --json`."""
    return _dump(
        {
            "format": EXPLAIN_FORMAT,
            "array": array.name,
            "stable_id": array.stable_id,
            "derivations": [
                {"workload": asdict(workload), **_derivation(derivation)}
                for workload, derivation in derivations
            ],
            "chunk_choices": [_chunk_choice(choice) for choice in choices],
            "prospects": asdict(prospects) if prospects is not None else None,
        }
    )


def _chunk_choice(choice: ChunkChoice) -> Document:
    return {
        "chunk_bytes": choice.chunk_bytes,
        "members_busy": choice.members_busy,
        "least_transfer_bytes": choice.least_transfer_bytes,
        "cost_share": choice.cost_share,
        "floor_bytes_per_second": choice.expectation.floor_bytes_per_second,
        "ceiling_bytes_per_second": choice.expectation.ceiling_bytes_per_second,
    }


def _derivation(derivation: Derivation | None) -> Document:
    if derivation is None:
        return {"expected": None}
    return {
        "expected": _expectation(derivation.expectation),
        "with_bottleneck_without_limit": _expectation(derivation.relieved),
        "with_one_member_more": _expectation(derivation.widened),
        "depth_needed": derivation.depth_needed,
    }


def host_json(host: Host) -> str:
    """The document of `arraygauge inventory --json`: the whole snapshot."""
    return _dump({"format": INVENTORY_FORMAT, **asdict(host)})


def _dump(document: Document) -> str:
    return json.dumps(_finite(document), indent=2, allow_nan=False)


def _finite(value: Any) -> Any:
    """Not-known rates are infinite inside the model; to a script they are null."""
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _array(verdict: ArrayVerdict) -> Document:
    array = verdict.array
    return {
        "name": array.name,
        "stable_id": array.stable_id,
        "level": array.level,
        "members_wanted": verdict.health.wanted,
        "chunk_bytes": array.chunk_bytes,
        "layout": array.layout,
        "array_state": array.state,
        "sync_action": array.sync_action,
        "pace": verdict.pace,
        "protection": verdict.health.protection,
        "health": asdict(verdict.health),
        "expected": _expectation(verdict.expectation),
        "expected_with_members_as_found": _expectation(verdict.as_found),
        "measured": _attempt(verdict.attempt),
        "ratio": verdict.ratio,
        "cause": verdict.cause,
        "odd_members": [asdict(member) for member in verdict.odd_members],
        "walls": [wall_document(wall) for wall in verdict.walls],
        "footage": [footage_document(each) for each in verdict.footage],
        "since_trial": asdict(verdict.since_trial) if verdict.since_trial else None,
        "explanation": array_sentence(verdict),
    }


def wall_document(wall: Wall) -> Document:
    """One wall: its members in their order, its rate, and how surely."""
    return {
        "members": sorted(wall.members),
        "bytes_per_second": wall.bytes_per_second,
        "confidence": wall.confidence,
        "certain": wall.certain,
    }


def walls_json(attempts: Mapping[str, Attempt], report: WallReport | None) -> str:
    """The document of `arraygauge walls --json`."""
    return _dump(
        {
            "format": WALLS_FORMAT,
            "alone": {name: _attempt(attempt) for name, attempt in attempts.items()},
            "together": [dict(run.rates) for run in report.runs] if report else [],
            "walls": [wall_document(wall) for wall in report.walls] if report else [],
            "unresolved": sorted(report.unresolved) if report else [],
            "noise": report.noise if report else None,
            "bytes_read_together": report.bytes_read if report else 0,
            "ended_early": report.ended_early if report else "fewer than two devices gave a rate",
        }
    )


def curve_json(name: str, points: Iterable[Point]) -> str:
    """The document of `arraygauge curve --json`."""
    return _dump(
        {
            "format": CURVE_FORMAT,
            "device": name,
            "points": [
                {
                    "workload": asdict(workload),
                    "measured": _attempt(attempt),
                    "expected": _expectation(expectation),
                    "perhaps_own_limit": own_limit,
                }
                for workload, attempt, expectation, own_limit in points
            ],
        }
    )


def need_json(promise: Promise) -> str:
    """The document of `arraygauge footage --json` without an array."""
    return _dump({"format": FOOTAGE_FORMAT, "footage": [promise_document(promise)]})


def carried_json(verdict: ArrayVerdict) -> str:
    """The document of `arraygauge footage ARRAY --json`."""
    return _dump(
        {
            "format": FOOTAGE_FORMAT,
            "array": verdict.array.name,
            "stable_id": verdict.array.stable_id,
            "measured": _attempt(verdict.attempt),
            "footage": [footage_document(each) for each in verdict.footage],
        }
    )


def _device(verdict: DeviceVerdict) -> Document:
    device = verdict.device
    return {
        "name": device.name,
        "stable_id": device.stable_id,
        "model": device.model,
        "serial": device.serial,
        "transport": device.transport,
        "size_bytes": device.size_bytes,
        "pace": verdict.pace,
        "expected": _expectation(verdict.expectation),
        "measured": _attempt(verdict.attempt),
        "ratio": verdict.ratio,
        "cause": verdict.cause,
        "low_links": [asdict(link) for link in verdict.low_links],
        "explanation": device_sentence(verdict),
    }


def _expectation(expectation: Expectation | None) -> Document | None:
    if expectation is None:
        return None
    return {
        "floor_bytes_per_second": expectation.floor_bytes_per_second,
        "ceiling_bytes_per_second": expectation.ceiling_bytes_per_second,
        "bottleneck": expectation.bottleneck.name,
        "bottleneck_kind": expectation.bottleneck.kind,
        "depth_bound": expectation.depth_bound,
        "workload": asdict(expectation.workload),
        "uses": [asdict(use) for use in expectation.uses],
        "assumptions": expectation.assumptions,
    }


def _attempt(attempt: Attempt) -> Document:
    if isinstance(attempt, Measurement):
        return {**asdict(attempt), "rate_may_be_judged": attempt.usable}
    return {
        "bytes_per_second": None,
        "outcome": "skipped",
        "reason": attempt.reason,
        "detail": why_not(attempt),
    }
