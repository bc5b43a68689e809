"""The QEMU command line of a machine: pure, from description to arguments.

Each drive is a small graph of block nodes, seen from the guest down:
``NAME-uplink`` (throttle, in its uplink's group; only with an uplink), ``NAME-limit``
(throttle, in the drive's own group), ``NAME-store`` (nothing, or memory).
Sources: QEMU's manual pages qemu-system(1) and qemu-qmp-ref(7), docs/throttle.txt.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping

from lab.image import Image
from lab.machine import Contents, Drive, Machine, Transport

MIB = 1024 * 1024
AHCI_PORTS = 6
"""Of one ich9-ahci controller."""

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
    memory_fds: Mapping[str, int],
) -> list[str]:
    """All of QEMU's arguments.

    ``monitor_fd`` and ``agent_fd`` are connected sockets; ``memory_fds`` holds the memory
    file of each drive with contents in RAM; ``environment`` reaches the guest's init.
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
        "-virtfs",
        "local,path=/,mount_tag=host,security_model=none,readonly=on,multidevs=remap",
        *_drive_arguments(machine, memory_fds),
    ]


STANDSTILL = {"bps-read": 0, "bps-write": 0, "bps-total": 1}
"""A throttle group's limits that let one byte a second pass, reads and writes together."""


def limits(bytes_per_second: int) -> dict[str, int]:
    """A throttle group's limits: the rate in each direction, as links are full duplex."""
    return {"bps-read": bytes_per_second, "bps-write": bytes_per_second, "bps-total": 0}


def limit_node(drive: Drive) -> dict[str, str]:
    """The block node that holds a drive to its own rate."""
    return {
        "driver": "throttle",
        "node-name": f"{drive.name}-limit",
        "throttle-group": drive.name,
        "file": f"{drive.name}-store",
    }


def _drive_arguments(machine: Machine, memory_fds: Mapping[str, int]) -> Iterator[str]:
    for part in machine.throttled:
        group = {"qom-type": "throttle-group", "id": part.name}
        yield from ("-object", json.dumps(group | {"limits": limits(part.bytes_per_second)}))
    for drive in machine.drives:
        for node in _nodes(drive, memory_fds.get(drive.name)):
            yield from ("-blockdev", json.dumps(node))
    ahci = [drive for drive in machine.drives if drive.transport is Transport.AHCI]
    for controller in range(1, -(-len(ahci) // AHCI_PORTS)):
        yield from ("-device", f"ich9-ahci,id=ahci{controller}")
    for port, drive in enumerate(ahci):
        yield from ("-device", _ahci_device(drive, port))
    for drive in machine.drives:
        if drive.transport is not Transport.AHCI:
            yield from (
                "-device",
                f"pcie-root-port,id={_port(drive)},chassis={_slot(machine, drive)}",
            )
            yield from ("-device", _pcie_device(drive))


def _nodes(drive: Drive, memory_fd: int | None) -> Iterator[dict[str, object]]:
    store: dict[str, object] = {"node-name": f"{drive.name}-store"}
    if drive.contents is Contents.RAM:
        memory = {"driver": "file", "filename": f"/proc/self/fd/{memory_fd}"}
        yield store | {"driver": "raw", "file": memory}
    else:
        yield store | {"driver": "null-co", "size": drive.size_bytes, "read-zeroes": True}
    yield dict(limit_node(drive))
    if drive.uplink is not None:
        yield {
            "driver": "throttle",
            "node-name": f"{drive.name}-uplink",
            "throttle-group": drive.uplink,
            "file": f"{drive.name}-limit",
        }


def _top_node(drive: Drive) -> str:
    return f"{drive.name}-{'uplink' if drive.uplink else 'limit'}"


def _port(drive: Drive) -> str:
    return f"port-{drive.name}"


def _slot(machine: Machine, drive: Drive) -> int:
    return machine.drives.index(drive) + 1


def _ahci_device(drive: Drive, port: int) -> str:
    """The machine's own controller owns buses ide.0 to ide.5, added ones ahciN.0 to ahciN.5."""
    controller, number = divmod(port, AHCI_PORTS)
    bus = f"ahci{controller}.{number}" if controller else f"ide.{number}"
    return f"ide-hd,id={drive.name},bus={bus},drive={_top_node(drive)},serial={drive.name}"


def _pcie_device(drive: Drive) -> str:
    """Behind a root port of its own: it can be unplugged, and has a PCIe link to look at."""
    driver = "nvme" if drive.transport is Transport.NVME else "virtio-blk-pci"
    return (
        f"{driver},id={drive.name},bus={_port(drive)},drive={_top_node(drive)},serial={drive.name}"
    )
