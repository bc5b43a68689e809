"""The inventory as a tree: arrays with their members, then drives by the path they take."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text
from rich.tree import Tree

from arraygauge.inventory.values import Array, BlockDevice, DeviceKind, Host, Link, Member
from arraygauge.tell.sentences import rate_phrase, sync_phrase
from arraygauge.units import format_binary, format_capacity


def print_host(console: Console, host: Host) -> None:
    """Everything inventory found, for a person."""
    root = Tree(Text.assemble((host.name, "bold"), f"  kernel {host.kernel or 'unknown'}"))
    arrays = root.add(Text("arrays" if host.arrays else "arrays: none"))
    for array in host.arrays:
        _add_array(arrays, array)
    drives = root.add(Text("drives"))
    _add_links(drives, host, None)
    _add_others(root, host)
    console.print(root)
    for problem in host.problems:
        console.print(Text(f"could not read {problem.path}: {problem.detail}"), style="dim")


def _add_array(tree: Tree, array: Array) -> None:
    parts = [
        array.level_text or "no level",
        f"layout {array.layout}" if array.layout is not None else "",
        f"chunk {format_binary(array.chunk_bytes)}" if array.chunk_bytes else "",
        format_capacity(array.size_bytes) if array.size_bytes else "",
        array.state_text or "state unknown",
        sync_phrase(array),
    ]
    words = ", ".join(part for part in parts if part)
    branch = tree.add(Text.assemble((array.name, "bold"), "  ", words))
    for member in sorted(array.members, key=lambda member: (member.slot is None, member.slot or 0)):
        branch.add(Text(_member_phrase(member), "" if member.serving else "yellow"))


def _member_phrase(member: Member) -> str:
    slot = "no slot" if member.slot is None else f"slot {member.slot}"
    presence = "" if member.present else ", its device is gone"
    errors = f", {member.errors} sectors corrected" if member.errors else ""
    return f"{slot}: {member.name}, {member.state_text or 'state unknown'}{presence}{errors}"


def _add_links(tree: Tree, host: Host, parent_id: str | None) -> None:
    """Links below ``parent_id``, each with the drives that hang directly on it."""
    for link in host.links:
        if link.parent_id == parent_id and _leads_to_drive(host, link):
            branch = tree.add(Text(_link_phrase(link), "dim"))
            _add_links(branch, host, link.link_id)
            _add_drives(branch, host, link.link_id)
    if parent_id is None:
        _add_drives(tree, host, None)


def _leads_to_drive(host: Host, link: Link) -> bool:
    return any(
        link.link_id in device.link_ids
        for device in host.devices
        if device.kind is DeviceKind.DRIVE
    )


def _add_drives(tree: Tree, host: Host, link_id: str | None) -> None:
    for device in host.devices:
        if device.kind is DeviceKind.DRIVE and next(iter(device.link_ids), None) == link_id:
            _add_device(tree, host, device)


def _add_device(tree: Tree, host: Host, device: BlockDevice) -> None:
    branch = tree.add(Text.assemble((device.name, "bold"), "  ", _device_phrase(device)))
    for name in device.above:
        upper = host.device(name)
        if upper is not None and upper.kind is not DeviceKind.ARRAY:
            _add_device(branch, host, upper)
        elif upper is not None:
            branch.add(Text(f"member of {name}"))


def _device_phrase(device: BlockDevice) -> str:
    parts = [
        str(device.kind) if device.kind is not DeviceKind.DRIVE else str(device.transport),
        device.mapped_name or device.model or "",
        f"serial {device.serial}" if device.serial else "",
        format_capacity(device.size_bytes) if device.size_bytes else "size unknown",
        {True: "with seeks", False: "without seeks", None: ""}[device.rotational],
        *(f"{mount.filesystem} on {mount.mount_point}" for mount in device.mounts),
    ]
    return ", ".join(part for part in parts if part)


def _link_phrase(link: Link) -> str:
    if link.negotiated is None:
        return f"{link.kind} {link.name}, rate not shown"
    at_most = (
        f" of {rate_phrase(link.maximum)}"
        if link.maximum is not None and link.maximum != link.negotiated
        else ""
    )
    return f"{link.kind} {link.name}, {rate_phrase(link.negotiated)}{at_most}"


def _add_others(root: Tree, host: Host) -> None:
    shown = (DeviceKind.DRIVE, DeviceKind.PARTITION, DeviceKind.ARRAY, DeviceKind.MAPPED)
    others = [device for device in host.devices if device.kind not in shown and device.size_bytes]
    if others:
        branch = root.add(Text("not drives"))
        for device in others:
            file = f", {device.backing_file}" if device.backing_file else ""
            branch.add(Text(f"{device.name}  {_device_phrase(device)}{file}"))
