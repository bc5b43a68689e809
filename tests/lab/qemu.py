"""The QEMU command line of a machine: pure, from description to arguments.

Sources: QEMU's manual pages qemu-system(1) and qemu-qmp-ref(7).
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path

from lab.image import Image
from lab.machine import Drive, Machine, Transport
from lab.stores import Store, limits, nodes, top_node

MIB = 1024 * 1024
AHCI_PORTS = 6
"""Of one ich9-ahci controller."""

ROOT_SERIAL = "lab-root"
"""By which the guest's init finds the disk with its root, where it has one."""

# Guest addresses are the same in every process (norandmaps), so that QEMU finds the code
# it has translated already; both other settings only save time. A panic ends the guest.
KERNEL_ARGUMENTS = "console=ttyS0 quiet panic=-1 mitigations=off norandmaps"

# An older processor without AVX: emulating the newest one made Python a fifth slower.
PROCESSOR = "Westmere"


def command_line(
    machine: Machine,
    image: Image,
    *,
    environment: Mapping[str, str],
    monitor_fd: int,
    agent_fd: int,
    stores: Mapping[str, Store],
) -> list[str]:
    """All of QEMU's arguments.

    ``monitor_fd`` and ``agent_fd`` are connected sockets; ``stores`` holds the memory files
    of each drive with contents in RAM; ``environment`` reaches the guest's init.
    """
    variables = [f"{name}={value}" for name, value in environment.items()]
    return [
        *("-nodefaults", "-no-user-config", "-no-reboot", "-display", "none"),
        *("-machine", "q35", "-accel", "tcg,thread=multi", "-cpu", PROCESSOR),
        *("-smp", str(machine.processors), "-m", f"{machine.memory_bytes // MIB}M"),
        *("-kernel", str(image.kernel), "-initrd", str(image.initial_file_system)),
        *("-append", " ".join([KERNEL_ARGUMENTS, *variables])),
        *("-serial", "stdio", "-device", "virtio-rng-pci"),
        *("-chardev", f"socket,id=monitor,fd={monitor_fd}", "-mon", "monitor,mode=control"),
        *("-chardev", f"socket,id=agent,fd={agent_fd}", "-device", "virtio-serial-pci"),
        *("-device", "virtserialport,chardev=agent,name=lab-agent"),
        *_root_arguments(image.root),
        *_drive_arguments(machine, stores),
    ]


def _root_arguments(root: Path | None) -> tuple[str, ...]:
    if root is None:
        share = "local,path=/,mount_tag=host,security_model=none,readonly=on,multidevs=remap"
        return ("-virtfs", share)
    return (
        *("-drive", f"file={root},format=raw,if=none,id=root,snapshot=on"),
        *("-device", f"virtio-blk-pci,drive=root,serial={ROOT_SERIAL}"),
    )


def _drive_arguments(machine: Machine, stores: Mapping[str, Store]) -> Iterator[str]:
    for part in machine.throttled:
        group = {"qom-type": "throttle-group", "id": part.name}
        yield from ("-object", json.dumps(group | {"limits": limits(part.bytes_per_second)}))
    for drive in machine.drives:
        for node in nodes(drive, stores.get(drive.name)):
            yield from ("-blockdev", json.dumps(node))
    for controller in range(1, -(-len(_ahci_drives(machine)) // AHCI_PORTS)):
        yield from ("-device", f"ich9-ahci,id=ahci{controller}")
    for slot, drive in enumerate(machine.drives, start=1):
        if drive.transport is not Transport.AHCI:
            # A root port of its own: the drive can be unplugged, and has a PCIe link to look at.
            yield from ("-device", f"pcie-root-port,id={_port(drive)},chassis={slot}")
        yield from ("-device", json.dumps(device(machine, drive)))


def device(machine: Machine, drive: Drive) -> dict[str, object]:
    """A drive as the guest meets it: QEMU's device and its properties."""
    drivers = {
        Transport.AHCI: "ide-hd",
        Transport.NVME: "nvme",
        Transport.VIRTIO: "virtio-blk-pci",
    }
    return {
        "driver": drivers[drive.transport],
        "id": drive.name,
        "bus": _ahci_bus(machine, drive) if drive.transport is Transport.AHCI else _port(drive),
        "drive": top_node(drive),
        "serial": drive.name,
        "logical_block_size": drive.block_bytes,
        "physical_block_size": drive.block_bytes,
    }


def _port(drive: Drive) -> str:
    return f"port-{drive.name}"


def _ahci_drives(machine: Machine) -> list[Drive]:
    return [drive for drive in machine.drives if drive.transport is Transport.AHCI]


def _ahci_bus(machine: Machine, drive: Drive) -> str:
    """The machine's own controller owns buses ide.0 to ide.5, added ones ahciN.0 to ahciN.5."""
    controller, number = divmod(_ahci_drives(machine).index(drive), AHCI_PORTS)
    return f"ahci{controller}.{number}" if controller else f"ide.{number}"
