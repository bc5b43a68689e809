"""What the passive watch looks at: arrays, their members' groups, and whose counters are read."""

from __future__ import annotations

from collections.abc import Iterable

from arraygauge.inventory.stack import beneath
from arraygauge.inventory.values import Array, Host
from arraygauge.judge.findings import PATH_PREFIX
from arraygauge.judge.passive.peers import Peers, names_of, peers_of
from arraygauge.theory.paths import Uplink
from arraygauge.values import frozen


@frozen
class Body:
    """The device whose counters stand for a member: its disk where it is a partition, the
    drive where it is an encrypted or otherwise mapped one. ``sequence`` tells a disk from
    another that got its name."""

    name: str
    stable_id: str
    sequence: int | None
    is_drive: bool
    turns: bool
    """Has heads and a spindle, or is not known not to."""


@frozen
class Scope:
    """One array as it is watched; a watch is begun anew when this changes. ``bodies`` are those
    of the members of all groups, by member name."""

    array_id: str
    array_name: str
    groups: tuple[Peers, ...]
    bodies: tuple[tuple[str, Body], ...]


def scopes_of(host: Host, uplinks: tuple[Uplink, ...] = ()) -> tuple[Scope, ...]:
    """All running arrays that have members to watch."""
    found = [_scope(host, array, uplinks) for array in host.arrays if array.running]
    return tuple(scope for scope in found if scope.bodies)


def _scope(host: Host, array: Array, uplinks: tuple[Uplink, ...]) -> Scope:
    groups = peers_of(host, array, uplinks)
    bodies = [(name, body_of(host, name)) for name in names_of(groups)]
    return Scope(
        array_id=array.stable_id,
        array_name=array.name,
        groups=groups,
        bodies=tuple((name, body) for name, body in bodies if body is not None),
    )


def body_of(host: Host, name: str) -> Body | None:
    """None for a member that is not there."""
    device = beneath(host, name)
    if device is None:
        return None
    return Body(
        name=device.name,
        stable_id=device.stable_id,
        sequence=device.sequence,
        is_drive=not device.below,
        turns=device.rotational is not False,
    )


def touched(host: Host, names: Iterable[str]) -> frozenset[str]:
    """The devices, and all that they are made of: what a probe of them passes."""
    reached: set[str] = set()
    frontier = list(names)
    while frontier:
        name = frontier.pop()
        if name not in reached:
            reached.add(name)
            device = host.device(name)
            frontier.extend(device.below if device is not None else ())
    return frozenset(reached)


def link_cause(link_id: str) -> str:
    """The stable id, as a cause, of a link that the kernel shows or the configuration names."""
    return f"{PATH_PREFIX}{link_id}"


def link_causes(peers: Peers) -> frozenset[str]:
    """Those of all links that some of the members share."""
    links = (peers.common, *(link for link, _ in peers.paths))
    return frozenset(link_cause(link) for link in links if link is not None)


def unseen_cause(array_id: str) -> str:
    """That of what members of an array share and the kernel does not show."""
    return f"{PATH_PREFIX}in {array_id}"
