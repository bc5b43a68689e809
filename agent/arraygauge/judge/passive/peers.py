"""Which members do the same job, and what they share on the way to the processor."""

from __future__ import annotations

from collections.abc import Iterable

from arraygauge.inventory.values import Array, Host, Level, Member, MemberState
from arraygauge.theory.paths import Uplink, is_behind, links_below
from arraygauge.values import frozen

_PARITY_FIRST, _PARITY_LAST = 4, 5
_RAID6_FIXED_Q = range(16, 21)


@frozen
class Peers:
    """Members with the same role in one array.

    ``paths`` are the links that at least two of them pass and at least one does not, by id,
    each with its members; links that all pass are ``common``. ``even``: the level spreads
    load evenly over them, as mirrors do not. ``heads``: they are drives that position.
    """

    members: tuple[str, ...]
    even: bool
    heads: bool
    paths: tuple[tuple[str, frozenset[str]], ...] = ()
    common: str | None = None

    def siblings(self, name: str) -> frozenset[str]:
        """The others behind the narrowest path that this one is behind."""
        behind = [members for _, members in self.paths if name in members]
        return min(behind, key=len, default=frozenset()) - {name}


def peers_of(host: Host, array: Array, uplinks: tuple[Uplink, ...] = ()) -> tuple[Peers, ...]:
    """The groups of an array's members that can be held against each other: those that
    serve data, by whether they are write-mostly, hold only parity, or are being filled."""
    roles: dict[str, list[str]] = {}
    for member in array.members:
        role = _role(array, member)
        if role is not None:
            roles.setdefault(role, []).append(member.name)
    return tuple(_group(host, array, tuple(names), uplinks) for names in roles.values())


def _role(array: Array, member: Member) -> str | None:
    states = member.states
    idle = member.slot is None or MemberState.JOURNAL in states or MemberState.FAULTY in states
    if idle or not member.present:
        return None
    if not member.serving:
        return "filled"
    if MemberState.WRITE_MOSTLY in states:
        return "write-mostly"
    return "parity" if member.slot in _parity_slots(array) else "data"


def _parity_slots(array: Array) -> tuple[int, ...]:
    """Slots that hold nothing but parity (drivers/md/raid5.h: layouts of fixed places)."""
    last = (array.raid_disks or 0) - 1
    if array.level is Level.RAID4:
        return (last,)
    two = array.level is Level.RAID6
    if array.level is Level.RAID5 or two:
        if array.layout == _PARITY_FIRST:
            return (0, 1) if two else (0,)
        if array.layout == _PARITY_LAST:
            return (last - 1, last) if two else (last,)
    return (last,) if two and array.layout in _RAID6_FIXED_Q else ()


def _group(host: Host, array: Array, names: tuple[str, ...], uplinks: tuple[Uplink, ...]) -> Peers:
    passing: dict[str, set[str]] = {}
    for name in names:
        behind = [uplink.name for uplink in uplinks if is_behind(host, name, uplink)]
        for link in (*links_below(host, name), *behind):
            passing.setdefault(link, set()).add(name)
    common = [link for link, members in passing.items() if len(members) == len(names)]
    return Peers(
        members=names,
        even=array.level not in (Level.RAID1, Level.RAID10),
        heads=any(_positions(host, name) for name in names),
        paths=_distinct(passing, len(names)),
        common=common[0] if common and len(names) > 1 else None,
    )


def _distinct(passing: dict[str, set[str]], whole: int) -> tuple[tuple[str, frozenset[str]], ...]:
    """One link for each set of members: the nearest to them, as that is met first."""
    by_members: dict[frozenset[str], str] = {}
    for link, members in passing.items():
        if 2 <= len(members) < whole:
            by_members.setdefault(frozenset(members), link)
    return tuple((link, members) for members, link in by_members.items())


def _positions(host: Host, name: str) -> bool:
    """Whether a member turns, or is not known not to."""
    device = host.device(name)
    return device is None or device.rotational is not False


def names_of(groups: Iterable[Peers]) -> tuple[str, ...]:
    """Every member that is watched."""
    return tuple(name for group in groups for name in group.members)
