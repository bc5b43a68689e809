"""What the machine is: its drives and its links."""

from __future__ import annotations

from arraygauge.inventory.values import BlockDevice, DeviceKind, Host, Link
from arraygauge.tell.charts.svg import shortened
from arraygauge.tell.page.values import Fact, TableOfRates
from arraygauge.tell.sentences import rate_phrase
from arraygauge.theory import Direction
from arraygauge.theory.links import data_bytes_per_second
from arraygauge.units import format_capacity, format_rate

MOST_ROWS = 64
"""Of a table; how many more there are is said in its caption."""
MOST_LETTERS = 64
"""Of what a drive calls itself; real ones are shorter."""


def identity_of(host: Host | None, machine: str) -> tuple[Fact, ...]:
    if host is None:
        return (Fact(term="Machine", words=machine),)
    drives = [each for each in host.devices if each.kind is DeviceKind.DRIVE]
    sizes = sum(each.size_bytes or 0 for each in drives)
    return (
        Fact(term="Machine", words=machine),
        Fact(term="Kernel", words=host.kernel or "not known"),
        Fact(term="Arrays", words=", ".join(each.name for each in host.arrays) or "none"),
        Fact(term="Drives", words=f"{len(drives)}, {format_capacity(sizes)} in all"),
    )


def drive_table(host: Host | None) -> TableOfRates:
    """Every drive as the kernel shows it."""
    devices = host.devices if host is not None else ()
    drives = [each for each in devices if each.kind is DeviceKind.DRIVE]
    return TableOfRates(
        caption=_caption("Drives", len(drives)),
        columns=("Drive", "Model", "Serial", "Size", "Turns", "Attached by", "Part of"),
        rows=tuple(_drive_row(host, each) for each in drives[:MOST_ROWS]) if host else (),
        empty="No drive was seen.",
    )


def link_table(host: Host | None) -> TableOfRates:
    """The links that drives are behind, with what of their rate is data."""
    links = [each for each in (host.links if host is not None else ()) if each.negotiated]
    behind = _behind(host) if host is not None else {}
    shown = [each for each in links if behind.get(each.link_id)]
    return TableOfRates(
        caption=_caption("Links", len(shown)),
        columns=("Link", "Trained at", "Possible", "Data when reading", "Drives behind it"),
        rows=tuple(_link_row(each, behind[each.link_id]) for each in shown[:MOST_ROWS]),
        empty="The kernel shows no link with a rate.",
    )


def _caption(what: str, count: int) -> str:
    more = f"; {count - MOST_ROWS} more are left out" if count > MOST_ROWS else ""
    return f"{what}: {count}{more}"


def _drive_row(host: Host, drive: BlockDevice) -> tuple[str, ...]:
    turns = {True: "yes", False: "no", None: "not known"}[drive.rotational]
    return (
        drive.name,
        shortened(drive.model or "not known", MOST_LETTERS),
        shortened(drive.serial or "not known", MOST_LETTERS),
        format_capacity(drive.size_bytes) if drive.size_bytes else "not known",
        turns,
        str(drive.transport),
        ", ".join(_parts_of(host, drive)) or "no array",
    )


def _parts_of(host: Host, drive: BlockDevice) -> list[str]:
    """The arrays that have the drive or a partition of it."""
    names = {drive.name, *drive.above}
    return [each.name for each in host.arrays if any(m.name in names for m in each.members)]


def _link_row(link: Link, drives: list[str]) -> tuple[str, ...]:
    if link.negotiated is None:
        raise ValueError("only links with a rate are shown")
    data = data_bytes_per_second(link.kind, link.negotiated, Direction.READ)
    names = ", ".join(drives[:8]) + (f" and {len(drives) - 8} more" if len(drives) > 8 else "")
    return (
        f"{link.kind} {link.name}",
        rate_phrase(link.negotiated),
        rate_phrase(link.maximum) if link.maximum is not None else "not known",
        format_rate(data),
        names,
    )


def _behind(host: Host) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for device in host.devices:
        if device.kind is DeviceKind.DRIVE:
            for link_id in device.link_ids:
                found.setdefault(link_id, []).append(device.name)
    return found
