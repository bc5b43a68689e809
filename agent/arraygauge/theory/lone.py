"""One transfer with nothing else in flight: how it is cut up, and how long it takes."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

from arraygauge.inventory.values import Level
from arraygauge.theory.geometry import Geometry
from arraygauge.theory.loads import Loads
from arraygauge.theory.network import Network
from arraygauge.theory.values import Resource, Workload


def contiguous_bytes(geometry: Geometry, workload: Workload) -> float:
    """How much of one transfer lies in one piece on a member."""
    chunk = geometry.chunk_bytes
    if not chunk or geometry.level in (Level.LINEAR, Level.RAID1):
        return workload.transfer_bytes
    if workload.transfer_bytes <= chunk:
        return workload.transfer_bytes
    return max(chunk, workload.transfer_bytes / (geometry.slots - geometry.parity))


def lone_seconds(
    network: Network, geometry: Geometry, loads: Loads, workload: Workload, *, fastest: bool
) -> float:
    """How long one transfer takes with nothing else in flight, on the fastest or the slowest
    members: reads, if any, then writes, each as long as the largest part any member has."""
    part = _largest_part(geometry, workload)
    members = [member for member in network.members if member is not None]
    pick = max if fastest else min
    seconds = 0.0
    if any(load.read for load in loads.members):
        rate = pick(member.read_bytes_per_second for member in members)
        seconds += part / rate + _fixed_seconds(members, workload)
    if any(load.write for load in loads.members):
        rate = pick(member.write_bytes_per_second for member in members)
        seconds += part / rate + _fixed_seconds(members, workload)
    return seconds or 1e-12


def _largest_part(geometry: Geometry, workload: Workload) -> float:
    """Bytes of one transfer on the member that has most of it."""
    chunk = geometry.chunk_bytes
    if not chunk or geometry.level in (Level.LINEAR, Level.RAID1):
        return workload.transfer_bytes
    pieces = ceil(workload.transfer_bytes / chunk)
    return min(workload.transfer_bytes, chunk * ceil(pieces / geometry.slots))


def _fixed_seconds(members: Sequence[Resource], workload: Workload) -> float:
    latency = min(member.latency_seconds for member in members)
    if not workload.scattered:
        return latency
    return latency + min(member.operation_seconds for member in members)
