"""Transfers to unrelated places, which meet by chance in the queues: their floor.

It is the exact mean value of a closed network whose service times vary as much as
waiting lines' theory assumes; real drives are steadier. Bytes may pass a link after they
have left their drive, which makes the link one more queue; or while the drive moves
them. Then a drive that others slow down in the link serves nothing else meanwhile, and
the link is no queue: each operation takes at least as long as the drive's part of the link
makes it. Reads of copies may all be of those behind one link while few are in flight. The
floor is the lowest of these.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import ceil, exp, inf

from arraygauge.inventory.values import Level
from arraygauge.theory.network import Demand, Side, demands
from arraygauge.theory.queueing import mean_value_analysis
from arraygauge.theory.values import Resource, ResourceKind


def meeting_by_chance(
    side: Side, used: Sequence[Demand], run_bytes: float, deepest: int
) -> list[float]:
    """Bytes per second by depth from 1 to ``deepest``; ``used`` are the demands with links as
    queues, an operation for each ``run_bytes``."""
    after = _by_depth(side, used, deepest)
    while_moving = _through_links(side, run_bytes, deepest)
    rates = [min(pair) for pair in zip(after, while_moving or after, strict=True)]
    if side.geometry.level not in (Level.RAID1, Level.RAID10) or side.writes:
        return rates
    for depth in range(1, min(deepest, len(side.members) - 1) + 1):
        gathered = _behind_one_link(side, used, depth)
        if gathered != list(used):
            rates[depth - 1] = min(rates[depth - 1], _by_depth(side, gathered, depth)[-1])
    return rates


def _behind_one_link(side: Side, used: Sequence[Demand], depth: int) -> list[Demand]:
    """The demands if ``depth`` transfers read the copies behind each link before others."""
    found = list(used)
    for at, demand in enumerate(used):
        link = demand.resource
        if link.kind is ResourceKind.LINK and demand.seconds:
            behind = sum(each.name in link.members for each in side.members)
            most = min(1.0, behind / depth) / link.read_bytes_per_second
            found[at] = demand._replace(seconds=max(demand.seconds, most))
    return found


def _through_links(side: Side, run_bytes: float, deepest: int) -> list[float]:
    """Drives as slow as their parts of the links; empty where no link can slow them. So few
    transfers that they do not reach all members meet fewer others in a link."""
    members = len(side.members)
    full = sharing_links(side, run_bytes, members, varying=True)
    if not full:
        return []
    rates = _by_depth(side, full, deepest)
    reached = _members_reached(side)
    for depth in range(1, min(deepest, ceil(members / reached) - 1) + 1):
        fewer = sharing_links(side, run_bytes, depth * reached, varying=True)
        if fewer:
            rates[depth - 1] = _by_depth(side, fewer, depth)[-1]
        else:
            rates[depth - 1] = inf
    return rates


def _members_reached(side: Side) -> int:
    """By one transfer, at most."""
    chunk, members = side.chunk_bytes, len(side.members)
    if side.writes or side.geometry.missing or chunk is None:
        return 1 if side.reads and not side.writes and chunk is None else members
    return min(members, ceil(side.workload.transfer_bytes / chunk) + 1)


def sharing_links(side: Side, run_bytes: float, busy: int, *, varying: bool) -> list[Demand]:
    """The demands of everything but links, with ``busy`` members at once in each link as far as
    it has so many; empty where that slows none of them."""
    network = side.network
    links = [each for each in network.shared if each.kind is ResourceKind.LINK]
    if not links:
        return []
    slow = _slowed_if_varying if varying else min
    names = {member.name for member in side.members}
    parts = [_Shares.of(link, min(busy, len(names.intersection(link.members)))) for link in links]
    members = tuple(member and _slowed(member, parts, slow) for member in network.members)
    if members == network.members:
        return []
    others = tuple(each for each in network.shared if each.kind is not ResourceKind.LINK)
    slowed = replace(network, members=members, shared=others)
    return demands(slowed, side.loads, run_bytes, network.background.most)


@dataclass(frozen=True, slots=True)
class _Shares:
    """What each busy member behind a link gets of it, in bytes per second."""

    behind: frozenset[str]
    read: float
    write: float

    @classmethod
    def of(cls, link: Resource, busy: int) -> _Shares:
        among = max(1, busy)
        read, write = link.read_bytes_per_second / among, link.write_bytes_per_second / among
        return cls(frozenset(link.members), read, write)


def _slowed(
    member: Resource, links: Sequence[_Shares], slow: Callable[[float, float], float]
) -> Resource:
    """The member as fast as ``slow`` makes it by its part of each link it passes."""
    passed = [link for link in links if member.name in link.behind]
    read = slow(member.read_bytes_per_second, min((link.read for link in passed), default=inf))
    write = slow(member.write_bytes_per_second, min((link.write for link in passed), default=inf))
    if (read, write) == (member.read_bytes_per_second, member.write_bytes_per_second):
        return member
    return replace(member, read_bytes_per_second=read, write_bytes_per_second=write)


def _slowed_if_varying(rate: float, part: float) -> float:
    """An operation takes as long as the drive or as its part of the link, whichever is longer.
    The mean of max(x, b), where x is exponential with mean a, is b + a exp(-b / a)."""
    if inf in (rate, part):
        return min(rate, part)
    return 1 / (1 / part + exp(-rate / part) / rate)


def _by_depth(side: Side, used: Sequence[Demand], deepest: int) -> list[float]:
    """By depth from 1. md lets one batch of partial rows read at a time, so that half of the
    writes in flight may be waiting for their turn (raid5.c raid5_activate_delayed)."""
    size = side.workload.transfer_bytes
    seconds = [size / demand.most for demand in used if demand.most < inf]
    latency = max(member.latency_seconds for member in side.members)
    in_turns = side.reads_before_writing
    points = mean_value_analysis(seconds, deepest, (1 + in_turns) * latency)
    rates = [point.throughput_per_second * size for point in points]
    if in_turns and side.geometry.parity:
        return [rates[(depth - 1) // 2] for depth in range(1, deepest + 1)]
    return rates
