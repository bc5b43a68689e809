"""The links between drives and the CPU as resources: those the kernel shows, and those declared."""

from __future__ import annotations

from fnmatch import fnmatchcase

from arraygauge.inventory.values import Host, Link, LinkKind
from arraygauge.theory.links import data_bytes_per_second
from arraygauge.theory.values import Direction, Resource, ResourceKind, Source
from arraygauge.values import frozen


@frozen
class Uplink:
    """A shared link the kernel does not show: declared by the person who knows the board, or
    a wall found by measurement, which then stands for every link behind it.

    ``devices`` are shell-style patterns; a device is behind the uplink when its
    name, its stable id, or the name of any link on its path matches one.
    """

    name: str
    devices: tuple[str, ...]
    read_bytes_per_second: float
    write_bytes_per_second: float
    full_duplex: bool = True
    source: Source = Source.DECLARED


@frozen
class Board:
    """What surrounds the drives and the kernel does not show: declared uplinks, and bytes
    of data a second through the processor's parity arithmetic, None where not known."""

    uplinks: tuple[Uplink, ...] = ()
    parity_bytes_per_second: float | None = None
    parity_source: Source = Source.MEASURED


BARE = Board()


def parity_arithmetic(board: Board, parity: int) -> Resource | None:
    """The processor as a resource: P costs one pass over the data, P and Q are taken to
    cost two (an assumption: Q's multiplications are as fast as exclusive-or at best)."""
    if board.parity_bytes_per_second is None or not parity:
        return None
    rate = board.parity_bytes_per_second / parity
    return Resource(
        name="parity arithmetic",
        kind=ResourceKind.PARITY,
        read_bytes_per_second=rate,
        write_bytes_per_second=rate,
        full_duplex=False,
        source=board.parity_source,
        members=(),
    )


def shared_links(host: Host, names: list[str], uplinks: tuple[Uplink, ...]) -> tuple[Resource, ...]:
    """Every link with a known rate that any of the devices passes, declared ones included."""
    passing: dict[str, list[str]] = {}
    for name in names:
        for link_id in links_below(host, name):
            passing.setdefault(link_id, []).append(name)
    found = [
        _link_resource(link, tuple(passing[link.link_id]))
        for link in host.links
        if link.link_id in passing and link.negotiated is not None
    ]
    declared = [
        uplink_resource(uplink, behind)
        for uplink in uplinks
        if (behind := tuple(name for name in names if is_behind(host, name, uplink)))
    ]
    return (*found, *declared)


def links_below(host: Host, name: str) -> tuple[str, ...]:
    """The links all of a device's traffic passes: of a stacked device, those common to every
    drive it is made of; a link of one of them carries only a part."""
    device = host.device(name)
    if device is None:
        return ()
    if device.link_ids or not device.below:
        return device.link_ids
    first, *others = [links_below(host, part) for part in device.below]
    return tuple(link for link in first if all(link in other for other in others))


def is_behind(host: Host, name: str, uplink: Uplink) -> bool:
    device = host.device(name)
    if device is None:
        return False
    disk = host.device(device.disk) if device.disk else None
    words = {device.name, device.stable_id}
    words.update((disk.name, disk.stable_id) if disk else ())
    words.update(link.name for link_id in device.link_ids if (link := host.link(link_id)))
    if any(fnmatchcase(word, pattern) for word in words for pattern in uplink.devices):
        return True
    return any(is_behind(host, part, uplink) for part in device.below if part != device.disk)


_FULL_DUPLEX = {LinkKind.PCIE, LinkKind.SAS, LinkKind.UPLINK}


def _link_resource(link: Link, members: tuple[str, ...]) -> Resource:
    if link.negotiated is None:
        raise ValueError(f"link {link.name} has no negotiated rate")
    return Resource(
        name=f"{link.kind} {link.name}",
        kind=ResourceKind.LINK,
        read_bytes_per_second=data_bytes_per_second(link.kind, link.negotiated, Direction.READ),
        write_bytes_per_second=data_bytes_per_second(link.kind, link.negotiated, Direction.WRITE),
        full_duplex=link.kind in _FULL_DUPLEX,
        source=Source.NEGOTIATED,
        members=members,
    )


def uplink_resource(uplink: Uplink, members: tuple[str, ...]) -> Resource:
    """A declared link in the model's terms, with whoever is behind it."""
    return Resource(
        name=uplink.name,
        kind=ResourceKind.LINK,
        read_bytes_per_second=uplink.read_bytes_per_second,
        write_bytes_per_second=uplink.write_bytes_per_second,
        full_duplex=uplink.full_duplex,
        source=uplink.source,
        members=members,
    )
