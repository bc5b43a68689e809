"""A drive against the drives beside it, and the other grounds a verdict stands on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from statistics import median_high

from arraygauge.inventory.values import Host
from arraygauge.judge.values import Tolerances
from arraygauge.theory import BARE, Board, MemberRate


@dataclass(frozen=True, slots=True, kw_only=True)
class Grounds:
    """What verdicts stand on besides measurements: what a person declared.

    ``rated`` holds declared rates by device name.
    """

    board: Board = BARE
    rated: Mapping[str, MemberRate] = field(default_factory=dict)
    tolerances: Tolerances = field(default_factory=Tolerances)


def reference_rates(host: Host, rates: Mapping[str, float]) -> dict[str, float]:
    """For each device, bytes per second of the better half of its peers.

    The reference is the upper median: of two peers the faster, since a pair cannot
    tell which is at fault but the faster one proves what is possible. Peers are the
    devices of the same model, where it has another one; else all.
    """
    models = {name: _model(host, name) for name in rates}
    return {name: median_high(_peer_rates(name, rates, models)) for name in rates}


def _peer_rates(
    name: str, rates: Mapping[str, float], models: Mapping[str, str | None]
) -> list[float]:
    same = [rate for other, rate in rates.items() if models[other] == models[name] is not None]
    return same if len(same) >= 2 else list(rates.values())


def _model(host: Host, name: str) -> str | None:
    device = host.device(name)
    disk = host.device(device.disk) if device and device.disk else device
    return disk.model if disk else None
