"""What is not as it was between two looks at the machine, followed by stable identity."""

from __future__ import annotations

from collections.abc import Iterator

from arraygauge.inventory.values import Array, BlockDevice, DeviceKind, Host
from arraygauge.values import frozen


@frozen
class InventoryChange:
    """Something about a drive or array that is not as it was: ``what`` says which of its
    properties, or 'presence' for one that came or went; ``before`` is None where it was not
    there or had none, ``after`` where it is not or has none."""

    stable_id: str
    name: str
    what: str
    before: str | None
    after: str | None


Facts = dict[str, str | None]


def inventory_changes(before: Host, after: Host) -> tuple[InventoryChange, ...]:
    """Drives and arrays that came, went, or have another name, size or shape."""
    return tuple(_between(_known(before), _known(after)))


def _known(host: Host) -> dict[str, Facts]:
    """By stable id, what is worth keeping when it changes."""
    drives = {
        each.stable_id: _drive(each) for each in host.devices if each.kind is DeviceKind.DRIVE
    }
    return drives | {each.stable_id: _array(host, each) for each in host.arrays}


def _drive(device: BlockDevice) -> Facts:
    return {"name": device.name, "size_bytes": _text(device.size_bytes)}


def _array(host: Host, array: Array) -> Facts:
    return {
        "name": array.name,
        "size_bytes": _text(array.size_bytes),
        "level": array.level_text,
        "members_wanted": _text(array.raid_disks),
        "members": " ".join(sorted(_member_id(host, each.name) for each in array.members)),
    }


def _member_id(host: Host, name: str) -> str:
    device = host.device(name)
    return device.stable_id if device is not None else name


def _text(number: int | None) -> str | None:
    return None if number is None else str(number)


def _between(before: dict[str, Facts], after: dict[str, Facts]) -> Iterator[InventoryChange]:
    for stable_id in dict.fromkeys((*before, *after)):
        old, new = before.get(stable_id), after.get(stable_id)
        name = (new or old or {})["name"] or ""
        if old is None or new is None:
            yield InventoryChange(
                stable_id=stable_id,
                name=name,
                what="presence",
                before=None if old is None else old["name"],
                after=None if new is None else new["name"],
            )
            continue
        for what in new:
            if old.get(what) != new[what]:
                yield InventoryChange(
                    stable_id=stable_id, name=name, what=what, before=old.get(what), after=new[what]
                )
