"""Whose counters tell that others work on what a probe reads. Pure.

A probe's own bytes pass its target and everything the target is made of; those devices
are its *carriers*, tier by tier: together each tier carries every byte once. Whatever
else lies on the same drives (the array over a member, the other partitions) carries none
of it, nor do *neighbours*: drives that share a link with the target's.
"""

from __future__ import annotations

from collections.abc import Iterable

from arraygauge.inventory.values import DeviceKind, Host
from arraygauge.theory.paths import Uplink, shared_links
from arraygauge.values import frozen


@frozen
class Watch:
    """Devices to watch by name, each in one role; ``arrays`` must not begin to synchronise.

    ``carriers`` are tiers that each carry the probe's own bytes once; the devices of
    ``below`` carry some of it, more or less than once (a degraded array's members), so
    only what is written to them is known to be others'.
    """

    carriers: tuple[tuple[str, ...], ...]
    below: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    neighbours: tuple[str, ...] = ()
    arrays: tuple[str, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        carriers = [name for tier in self.carriers for name in tier]
        return tuple(dict.fromkeys((*carriers, *self.below, *self.others, *self.neighbours)))


def watch_for(host: Host, target: str, uplinks: tuple[Uplink, ...] = ()) -> Watch:
    """What to watch while the device ``target`` is read."""
    tiers = _tiers(host, target)
    under = tuple(dict.fromkeys(name for tier in tiers[1:] for name in tier))
    disks = [name for name in (target, *under) if _is_bottom(host, name)]
    related = _reach_above(host, disks)
    whole = [index for index, tier in enumerate(tiers) if _carries_once(host, tiers[:index])]
    carriers = tuple(tiers[index] for index in whole)
    carrying = {name for tier in carriers for name in tier}
    return Watch(
        carriers=carriers,
        below=tuple(name for name in under if name not in carrying),
        others=tuple(sorted(related - {target, *under})),
        neighbours=_neighbours(host, disks, uplinks),
        arrays=tuple(array.name for array in host.arrays if array.name in {target, *related}),
    )


def _tiers(host: Host, target: str) -> list[tuple[str, ...]]:
    """The target, what it is made of, what that is made of, down to the drives."""
    tiers: list[tuple[str, ...]] = [(target,)]
    while below := tuple(
        dict.fromkeys(
            part
            for name in tiers[-1]
            if (device := host.device(name)) is not None
            for part in device.below
        )
    ):
        tiers.append(below)
    return tiers


def _carries_once(host: Host, above: list[tuple[str, ...]]) -> bool:
    """Whether the tier under ``above`` carries each byte once: no array there is degraded."""
    arrays = [host.array(name) for tier in above for name in tier]
    return not any(array and (array.degraded or array.missing_slots) for array in arrays)


def _is_bottom(host: Host, name: str) -> bool:
    device = host.device(name)
    return device is not None and not device.below


def _reach_above(host: Host, names: Iterable[str]) -> set[str]:
    reached, frontier = set(names), list(names)
    while frontier:
        device = host.device(frontier.pop())
        further = [name for name in (device.above if device else ()) if name not in reached]
        frontier.extend(further)
        reached.update(further)
    return reached


def _neighbours(host: Host, disks: list[str], uplinks: tuple[Uplink, ...]) -> tuple[str, ...]:
    """Other drives behind a link that any of the disks passes."""
    drives = [device.name for device in host.devices if device.kind is DeviceKind.DRIVE]
    shared = shared_links(host, drives, uplinks)
    near = {
        name for link in shared if not set(disks).isdisjoint(link.members) for name in link.members
    }
    return tuple(sorted(near - set(disks)))
