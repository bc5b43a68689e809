"""The drives of this machine and their bus, as `arraygauge plan` takes them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from statistics import median

from arraygauge.config.plan_file import ASSUMED_LATENCY_SECONDS
from arraygauge.errors import UnknownDeviceError
from arraygauge.history import HistoryError
from arraygauge.history.measurements import measurements_of, workload_key
from arraygauge.inventory.values import BlockDevice, DeviceKind, Host
from arraygauge.judge.pace import rate_of
from arraygauge.probe.values import Attempt
from arraygauge.service.grounds import grounds_of
from arraygauge.service.probing import Progress
from arraygauge.service.survey import Surveyor
from arraygauge.service.targets import Targets, bare_name
from arraygauge.theory import SEQUENTIAL_READ, MemberRate, Resource, Source
from arraygauge.theory.conditions import POSITIONING_SECONDS
from arraygauge.theory.paths import shared_links
from arraygauge.theory.plan import PlannedDrive, Supply
from arraygauge.theory.shape import rotational_of
from arraygauge.values import frozen

LATEST = 30
"""So many of the latest readings in the history stand for what a drive does."""


@frozen
class Grounded:
    """A supply with how each drive's reading is known, in words by name; and the drives that
    were left out, with the reason."""

    supply: Supply
    known_by: Mapping[str, str]
    left_out: tuple[tuple[str, str], ...]


def supply_here(surveyor: Surveyor, names: Sequence[str], progress: Progress) -> Grounded:
    """The named drives, partitions or members of named arrays; without names, every drive that
    carries no mounted filesystem. What a drive reads is taken from the history, else from the
    configuration's rating, else from a short reading now, else from its link.

    Raises UnknownDeviceError for a name this machine does not have.
    """
    host = surveyor.hosts.read()
    devices, left_out = _chosen(host, names)
    grounds = grounds_of(surveyor.configuration, host)
    rates, known_by = _known_rates(surveyor, devices, grounds.rated)
    unknown = tuple(device for device in devices if device.name not in rates)
    fresh = surveyor.probing().probe_all(host, Targets(arrays=(), devices=unknown), progress)
    for device in unknown:
        links = shared_links(host, [device.name], grounds.board.uplinks)
        found = _rate_now(fresh.get(device.name), links)
        if found is None:
            left_out.append((device.name, "could not be read, and its link is not known"))
        else:
            rates[device.name], known_by[device.name] = found
    drives = [
        _planned(host, device, rates[device.name])
        for device in devices
        if device.name in rates and device.size_bytes
    ]
    return Grounded(
        supply=Supply(
            drives=tuple(drives),
            links=shared_links(host, [drive.name for drive in drives], grounds.board.uplinks),
            parity_bytes_per_second=grounds.board.parity_bytes_per_second,
            parity_source=grounds.board.parity_source,
        ),
        known_by=known_by,
        left_out=tuple(left_out),
    )


def _chosen(
    host: Host, names: Sequence[str]
) -> tuple[tuple[BlockDevice, ...], list[tuple[str, str]]]:
    if names:
        found = [device for name in names for device in _named(host, name)]
        return tuple({device.name: device for device in found}.values()), []
    drives = [each for each in host.devices if each.kind is DeviceKind.DRIVE and each.size_bytes]
    used = {drive.name: mounted for drive in drives if (mounted := _mounted_on(host, drive))}
    left_out = [
        (name, f"carries {mounted}; name it to have it in") for name, mounted in used.items()
    ]
    return tuple(drive for drive in drives if drive.name not in used), left_out


def _named(host: Host, name: str) -> list[BlockDevice]:
    """A device, or the members of an array."""
    bare = bare_name(name)
    array = host.array(bare)
    members = [member.name for member in array.members if member.present] if array else [bare]
    found = [device for each in members if (device := host.device(each)) is not None]
    if not found:
        known = ", ".join(each.name for each in host.devices if each.kind is DeviceKind.DRIVE)
        raise UnknownDeviceError(
            f"{name}: this machine has no such drive or array", f"it has {known or 'none'}"
        )
    return found


def _mounted_on(host: Host, drive: BlockDevice) -> str | None:
    """A mount point on the drive or a partition of it; what lies on arrays is theirs, and an
    array is what a plan may replace."""
    parts = [host.device(name) for name in drive.above]
    bodies = [drive, *(part for part in parts if part is not None and part.disk == drive.name)]
    return next((mount.mount_point for body in bodies for mount in body.mounts), None)


def _known_rates(
    surveyor: Surveyor,
    devices: tuple[BlockDevice, ...],
    rated: Mapping[str, MemberRate],
) -> tuple[dict[str, MemberRate], dict[str, str]]:
    """From the history, with the rating's writes; or from the rating alone."""
    rates: dict[str, MemberRate] = {}
    known_by: dict[str, str] = {}
    for device in devices:
        before = _measured_before(surveyor, device)
        rating = rated.get(device.name)
        if before is not None:
            write = rating.write_bytes_per_second if rating is not None else None
            rates[device.name] = replace(
                _read_only(before[0], Source.MEASURED), write_bytes_per_second=write
            )
            known_by[device.name] = f"measured before, {before[1]} times"
        elif rating is not None:
            rates[device.name] = rating
            known_by[device.name] = "rated"
    return rates, known_by


def _measured_before(surveyor: Surveyor, device: BlockDevice) -> tuple[float, int] | None:
    """The middle of the latest plain readings that are kept, and how many those are."""
    try:
        records = measurements_of(surveyor.purse.history, device.stable_id)
    except HistoryError:
        return None
    plain = workload_key(SEQUENTIAL_READ)
    found = [each.rate for each in records if each.rate is not None and each.workload == plain]
    latest = found[-LATEST:]
    return (median(latest), len(latest)) if latest else None


def _rate_now(attempt: Attempt | None, links: Sequence[Resource]) -> tuple[MemberRate, str] | None:
    """What was just read, or else what the links allow, and how it is known."""
    measured = rate_of(attempt)
    if measured is not None:
        return _read_only(measured, Source.MEASURED), "measured now"
    if not links:
        return None
    least = min(links, key=lambda link: link.read_bytes_per_second)
    return _of_link(least), f"not measured: what {least.name} allows"


def _read_only(bytes_per_second: float, source: Source) -> MemberRate:
    return MemberRate(
        read_bytes_per_second=bytes_per_second, write_bytes_per_second=None, source=source
    )


def _of_link(link: Resource) -> MemberRate:
    return MemberRate(
        read_bytes_per_second=link.read_bytes_per_second,
        write_bytes_per_second=link.write_bytes_per_second,
        source=link.source,
    )


def _planned(host: Host, device: BlockDevice, rate: MemberRate) -> PlannedDrive:
    rotational = rotational_of(host, device)
    moving = replace(
        rate,
        operation_seconds=POSITIONING_SECONDS if rotational else 0.0,
        latency_seconds=0.0 if rotational else ASSUMED_LATENCY_SECONDS,
    )
    known = rate.write_bytes_per_second is not None
    write_source = Source.RATED if rate.source is Source.MEASURED else rate.source
    return PlannedDrive(
        name=device.name,
        size_bytes=device.size_bytes or 0,
        rate=moving,
        write_source=write_source if known else Source.ASSUMED,
        rotational=rotational,
    )
