"""The configuration's declarations in the judge's terms."""

from __future__ import annotations

from functools import cache

from arraygauge.config import Configuration
from arraygauge.inventory.values import Array, BlockDevice, Host
from arraygauge.judge import Grounds
from arraygauge.judge.footage_values import Promise
from arraygauge.probe.parity_speed import measure_parity_speed
from arraygauge.service.targets import bare_name
from arraygauge.theory import Board, MemberRate, Source
from arraygauge.theory.paths import is_behind


def grounds_of(configuration: Configuration, host: Host) -> Grounds:
    """The configuration's declarations, with drive patterns resolved to device names."""
    rated = {
        device.name: MemberRate(
            read_bytes_per_second=read * 1e6,
            write_bytes_per_second=(
                section.write_mb_per_second * 1e6 if section.write_mb_per_second else None
            ),
            source=Source.RATED,
        )
        for section in configuration.drive
        for device in host.devices
        if (read := section.read_mb_per_second) is not None
        and section.match in _names(host, device)
    }
    return Grounds(board=_board(configuration), rated=rated, footage=_footage(configuration, host))


def unplaced_footage(configuration: Configuration, host: Host) -> tuple[str, ...]:
    """Arrays that footage is declared for and this machine does not have."""
    asked = dict.fromkeys(section.array for section in configuration.footage)
    return tuple(name for name in asked if array_called(host, name) is None)


def idle_declarations(configuration: Configuration, host: Host) -> tuple[str, ...]:
    """What is declared, as a file has it, of devices that this machine does not have."""
    drives = [
        f"[[drive]] match = '{section.match}'"
        for section in configuration.drive
        if not any(section.match in _names(host, device) for device in host.devices)
    ]
    uplinks = [
        f"[[uplink]] '{uplink.name}'"
        for uplink in configuration.uplinks
        if not any(is_behind(host, device.name, uplink) for device in host.devices)
    ]
    arrays = [f"[[footage]] array = '{name}'" for name in unplaced_footage(configuration, host)]
    return (*drives, *uplinks, *arrays)


def _footage(configuration: Configuration, host: Host) -> dict[str, tuple[Promise, ...]]:
    """By array name."""
    found: dict[str, tuple[Promise, ...]] = {}
    for section in configuration.footage:
        array = array_called(host, section.array)
        if array is not None:
            found[array.name] = (*found.get(array.name, ()), section.promise())
    return found


def array_called(host: Host, name: str) -> Array | None:
    """By its kernel name, a path to it, or its stable id."""
    bare = bare_name(name)
    return next((each for each in host.arrays if bare in (each.name, each.stable_id)), None)


def endurance_of(configuration: Configuration, host: Host) -> dict[str, int]:
    """By stable id, the bytes that drives are declared to endure."""
    return {
        device.stable_id: round(terabytes * 1e12)
        for section in configuration.drive
        for device in host.devices
        if (terabytes := section.endurance_terabytes_written) is not None
        and section.match in _names(host, device)
    }


def _names(host: Host, device: BlockDevice) -> set[str | None]:
    """What a person may call it by; a partition by its disk's names as well."""
    disk = host.device(device.disk) if device.disk else None
    parts = (device, disk) if disk is not None else (device,)
    return {name for part in parts for name in (part.name, part.serial, part.stable_id)}


@cache
def _board(configuration: Configuration) -> Board:
    """Measured once: the processor does not change under a running agent."""
    declared = configuration.parity.mb_per_second
    return Board(
        uplinks=tuple(uplink.uplink() for uplink in configuration.uplink),
        parity_bytes_per_second=declared * 1e6 if declared else measure_parity_speed(),
        parity_source=Source.DECLARED if declared else Source.MEASURED,
    )
