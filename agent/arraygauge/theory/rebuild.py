"""How long md's passes over its members take: rebuild, resync, check, repair, reshape.

md goes as fast as its members let it, never faster than sync_speed_max, and while
others use the members it waits for them, but only while it is above sync_speed_min
(md.c md_do_sync; is_mddev_idle watches the members' own counters). So a band:

* fastest: the time that others leave free on each resource, up to sync_speed_max;
* slowest: sync_speed_min if others use the members at all, else the same as fastest.

md holds back by letting its own transfers drain rather than by stopping, so a loaded
rebuild usually runs well above the slowest pace; it runs below it only where the
resources themselves give less. Where sync_speed_min is set above sync_speed_max,
md_do_sync looks at the minimum first, and so does this.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from math import inf

from arraygauge.theory.bounds import bottleneck
from arraygauge.theory.loads import Loads
from arraygauge.theory.network import Demand, Network, demands
from arraygauge.theory.sync_loads import SyncWork
from arraygauge.theory.values import Resource
from arraygauge.units import KIB
from arraygauge.values import frozen


@frozen
class SpeedLimits:
    """sync_speed_min and sync_speed_max; the defaults are the kernel's 1000 and 200000
    KiB a second (md.c; md.rst describes them as guaranteed and as a limit)."""

    minimum_bytes_per_second: float = 1000 * KIB
    maximum_bytes_per_second: float = 200_000 * KIB


class Limit(StrEnum):
    """The kernel's limits by their names in md's sysfs directory."""

    MINIMUM = "sync_speed_min"
    MAXIMUM = "sync_speed_max"


@frozen
class SyncPace:
    """One speed of a pass in bytes md counts per second, the time it takes, what sets it."""

    bytes_per_second: float
    seconds: float
    bound_by: Resource | Limit


@frozen
class SyncBand:
    """Between which paces one pass lies."""

    work: SyncWork
    fastest: SyncPace
    slowest: SyncPace
    assumptions: tuple[str, ...]


_UNKNOWN_LOAD = "others' use of the members is not known: from none to md always waiting"


def sync_band(
    work: SyncWork,
    network: Network,
    limits: SpeedLimits | None = None,
    busy: Mapping[str, float] | None = None,
) -> SyncBand:
    """The band for one pass, with a rebuilt slot's new member in ``network.members``.

    ``busy`` is the share of a resource's time that others take, 0 to 1, by name; a
    resource not named is idle. None when it is not known.

    Raises ValueError for a share outside 0 to 1, or a slot with work but no member.
    """
    limits = limits or SpeedLimits()
    shares = dict(busy or {})
    _require_sound(work, network, shares)
    least = limits.minimum_bytes_per_second
    most = max(least, limits.maximum_bytes_per_second)
    fastest = _limited(_physical(network, work.loads.ceiling, shares), most, Limit.MAXIMUM)
    alone = _physical(network, work.loads.floor, {})
    slowest = _limited(alone, most, Limit.MAXIMUM)
    touched = _used(network, work.loads.floor)
    if busy is None or any(shares.get(demand.resource.name) for demand in touched):
        slowest = _limited(alone, least, Limit.MINIMUM)
        insisted = _limited(_physical(network, work.loads.ceiling, {}), least, Limit.MINIMUM)
        fastest = max(fastest, insisted, key=lambda speed: speed[0])
    return SyncBand(
        work=work,
        fastest=_pace(work, fastest),
        slowest=_pace(work, slowest),
        assumptions=(*work.loads.assumptions, *(() if busy is not None else (_UNKNOWN_LOAD,))),
    )


_Speed = tuple[float, Resource | Limit]
"""Bytes md counts per second, and what sets them."""


def _physical(network: Network, loads: Loads, shares: Mapping[str, float]) -> _Speed:
    """What the resources give in the time that others leave free on each; of those that
    give nearly the least, the one most members share is named."""
    used = [
        demand._replace(taken=shares.get(demand.resource.name, 0.0))
        for demand in _used(network, loads)
    ]
    return min(demand.most for demand in used), bottleneck(used)


def _used(network: Network, loads: Loads) -> list[Demand]:
    """Long sequential passes: no seeks, nothing else moving."""
    alone = demands(network, loads, inf, {})
    return [demand for demand in alone if demand.seconds]


def _limited(physical: _Speed, limit: float, name: Limit) -> _Speed:
    return physical if physical[0] <= limit else (limit, name)


def _pace(work: SyncWork, speed: _Speed) -> SyncPace:
    rate, bound_by = speed
    return SyncPace(bytes_per_second=rate, seconds=work.counted_bytes / rate, bound_by=bound_by)


def _require_sound(work: SyncWork, network: Network, shares: Mapping[str, float]) -> None:
    for name, share in shares.items():
        if not 0 <= share <= 1:
            raise ValueError(f"{name}: a busy share of {share} is not from 0 to 1")
    for slot, (member, load) in enumerate(
        zip(network.members, work.loads.floor.members, strict=True)
    ):
        if member is None and (load.read or load.write):
            raise ValueError(f"slot {slot} has work to do but no member")
