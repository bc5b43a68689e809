"""A drive against the drives beside it, and the other grounds a verdict stands on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import field
from statistics import median_high

from arraygauge.inventory.values import Host
from arraygauge.judge.footage_values import Promise
from arraygauge.judge.values import Tolerances
from arraygauge.theory import BARE, Board, MemberRate
from arraygauge.values import frozen


@frozen
class Grounds:
    """What verdicts stand on besides measurements: what a person declared.

    ``rated`` holds declared rates by device name, ``footage`` what is promised by array name.
    """

    board: Board = BARE
    rated: Mapping[str, MemberRate] = field(default_factory=dict)
    tolerances: Tolerances = field(default_factory=Tolerances)
    footage: Mapping[str, tuple[Promise, ...]] = field(default_factory=dict)


def reference_rates(host: Host, rates: Mapping[str, float]) -> dict[str, float]:
    """For each device, bytes per second of the better half of its peers.

    The reference is the upper median: of two peers the faster, since a pair cannot
    tell which is at fault but the faster one proves what is possible. Peers are the
    devices of the same model, where it has another one; else all.
    """
    if not rates:
        return {}
    models = _models(host, rates)
    alike: dict[str, list[float]] = {}
    for name, model in models.items():
        if model is not None:
            alike.setdefault(model, []).append(rates[name])
    of_all = median_high(rates.values())
    of_model = {model: median_high(found) for model, found in alike.items() if len(found) >= 2}
    return {
        name: of_all if model is None else of_model.get(model, of_all)
        for name, model in models.items()
    }


def _models(host: Host, names: Iterable[str]) -> dict[str, str | None]:
    """The model of each device, of the disk behind it where it is a part of one."""
    devices = {device.name: device for device in host.devices}

    def model(name: str) -> str | None:
        device = devices.get(name)
        disk = devices.get(device.disk) if device and device.disk else device
        return disk.model if disk else None

    return {name: model(name) for name in names}
