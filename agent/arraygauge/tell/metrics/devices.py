"""What is known of drives, members and links, as samples."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from arraygauge.inventory.values import BlockDevice, DeviceKind, Host, Link, LinkKind, LinkRate
from arraygauge.judge import DeviceVerdict
from arraygauge.judge.pace import rate_of
from arraygauge.probe.values import Measurement
from arraygauge.tell.metrics.values import BudgetUse, Sample
from arraygauge.theory import Direction
from arraygauge.theory.links import data_bytes_per_second


def device_samples(host: Host) -> Iterator[Sample]:
    """Drives and members, and the links on their way."""
    arrays = {member.name: array for array in host.arrays for member in array.members}
    for device in host.devices:
        array = arrays.get(device.name)
        if array is not None or device.kind is DeviceKind.DRIVE:
            yield Sample(name="device", labels=(*_facts(device), array.stable_id if array else ""))
    passed = {link_id for device in host.devices for link_id in device.link_ids}
    names = Counter(link.name for link in host.links)
    for link in host.links:
        if link.link_id in passed:
            # The short name where it is the only one so called: ids are long paths, and no more
            # stable over a boot.
            yield from _link(link, link.name if names[link.name] == 1 else link.link_id)


def _facts(device: BlockDevice) -> tuple[str, ...]:
    return device.stable_id, device.name, device.model or ""


def _link(link: Link, label: str) -> Iterator[Sample]:
    for name, rate in (
        ("link_negotiated_bytes_per_second", link.negotiated),
        ("link_maximum_bytes_per_second", link.maximum),
    ):
        if rate is not None and rate.lanes and rate.bits_per_second_per_lane:
            yield Sample(name=name, labels=(label,), number=_carries(link.kind, rate))


def _carries(kind: LinkKind, rate: LinkRate) -> float:
    return data_bytes_per_second(kind, rate, Direction.READ)


def device_rate_samples(verdict: DeviceVerdict) -> Iterator[Sample]:
    """What a pass measured of one device."""
    key = (verdict.device.stable_id,)
    rate = rate_of(verdict.attempt)
    if rate is not None:
        yield Sample(name="device_read_bytes_per_second", labels=key, number=rate)
    if verdict.ratio is not None:
        yield Sample(name="device_read_ratio", labels=key, number=verdict.ratio)
    if isinstance(verdict.attempt, Measurement):
        celsius = verdict.attempt.temperature_celsius
        if celsius is not None:
            yield Sample(name="device_temperature_celsius", labels=key, number=celsius)


def budget_samples(uses: Sequence[BudgetUse]) -> Iterator[Sample]:
    for use in uses:
        name = "device_budget_left_ratio"
        yield Sample(name=name, labels=(use.device_id,), number=use.left_ratio)
    if uses:
        spent = sum(use.day_bytes for use in uses)
        yield Sample(name="budget_spent_bytes", number=spent)
