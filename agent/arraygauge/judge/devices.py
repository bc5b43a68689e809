"""The verdict on one drive: against its peers, its rating and its links."""

from __future__ import annotations

from collections.abc import Mapping

from arraygauge.inventory.values import BlockDevice, Host, Link, LinkKind, LinkRate
from arraygauge.judge.pace import pace_of, ratio_of
from arraygauge.judge.peers import Grounds
from arraygauge.judge.values import Cause, DeviceVerdict, Pace
from arraygauge.probe.values import Attempt, Measurement
from arraygauge.theory import SEQUENTIAL_READ, MemberRate, Source, expect_device


def assess_device(
    host: Host, device: BlockDevice, attempt: Attempt, peers: Mapping[str, float], grounds: Grounds
) -> DeviceVerdict:
    """Hold one drive against its rating, or else its peers: ``peers`` are by name what the peers
    of each drive do (``peer_references``, found once for all drives of a pass); a drive that is
    not in there has none."""
    held_to = grounds.rated.get(device.name) or _measured(peers.get(device.name))
    workload = attempt.workload if isinstance(attempt, Measurement) else SEQUENTIAL_READ
    expectation = expect_device(host, device, held_to, grounds.board, workload)
    pace = pace_of(attempt, expectation, grounds.tolerances.odd_member)
    if held_to is None and pace in (Pace.AS_EXPECTED, Pace.SHORT):
        pace = Pace.NO_REFERENCE  # a link alone bounds a drive but does not say what it should do
    low = low_links(host, device)
    return DeviceVerdict(
        device=device,
        pace=pace,
        attempt=attempt,
        expectation=expectation,
        ratio=ratio_of(attempt, expectation) if held_to is not None else None,
        cause=_cause(pace, low),
        low_links=low,
    )


def _measured(reference: float | None) -> MemberRate | None:
    if reference is None:
        return None
    return MemberRate(
        read_bytes_per_second=reference, write_bytes_per_second=None, source=Source.MEASURED
    )


def _cause(pace: Pace, low: tuple[Link, ...]) -> Cause | None:
    if pace is not Pace.SHORT:
        return None
    return Cause.LOW_LINK if low else Cause.SLOWER_THAN_PEERS


def low_links(host: Host, device: BlockDevice) -> tuple[Link, ...]:
    """Links on the device's path that trained lower than both of their ends can.

    A PCIe endpoint below its own maximum is often just in a slower slot, so there the
    port above must be able to do better too.
    """
    path = [link for link_id in device.link_ids if (link := host.link(link_id)) is not None]
    above: list[Link | None] = [*path[1:], None]
    return tuple(link for link, port in zip(path, above, strict=False) if _trained_low(link, port))


def _trained_low(link: Link, port: Link | None) -> bool:
    if link.negotiated is None or link.maximum is None:
        return False
    possible = _signalled(link.maximum)
    if link.kind is LinkKind.PCIE:
        if port is None or port.maximum is None:
            return False
        possible = min(possible, _signalled(port.maximum))
    return _signalled(link.negotiated) < possible


def _signalled(rate: LinkRate) -> int:
    return rate.bits_per_second_per_lane * rate.lanes
