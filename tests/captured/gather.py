"""Which files of a machine describe its drives and arrays: the capture's choice.

Broader than what the readers use today, so that a reader written later finds its
file in an archive taken earlier. Left out on purpose: counters that change while
reading, files that hold keys or addresses, and md's journal_mode (takes the
array's mutex when read).
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from captured.archive import Entry

BLOCK = (
    "dev",
    "uevent",
    "size",
    "ro",
    "removable",
    "hidden",
    "diskseq",
    "partition",
    "start",
    "serial",
    "wwid",
    "nsid",
    "ana_state",
    "loop/*",
    "dm/*",
    "md/*",
    "md/*/*",
)
QUEUE = (
    "logical_block_size",
    "physical_block_size",
    "minimum_io_size",
    "optimal_io_size",
    "rotational",
    "scheduler",
    "max_sectors_kb",
    "max_hw_sectors_kb",
    "nr_requests",
    "read_ahead_kb",
    "write_cache",
    "fua",
    "discard_granularity",
    "discard_max_bytes",
    "dma_alignment",
    "chunk_sectors",
    "zoned",
    "stable_writes",
    "io_timeout",
    "nomerges",
)
BLOCK_DIRECTORIES = ("holders", "slaves", "multipath")

ANCESTOR = (
    # PCI function
    "current_link_speed",
    "current_link_width",
    "max_link_speed",
    "max_link_width",
    "class",
    "vendor",
    "device",
    "power/runtime_status",
    # sensors
    "hwmon*/name",
    "hwmon*/temp1_input",
    "hwmon/hwmon*/name",
    "hwmon/hwmon*/temp1_input",
    # SCSI device
    "model",
    "rev",
    "type",
    "state",
    "wwid",
    "vpd_pg80",
    # libata
    "ata_port/*/port_no",
    "link*/ata_link/*/*",
    "link*/dev*/ata_device/*/id",
    "link*/dev*/ata_device/*/class",
    "link*/dev*/ata_device/*/spdn_cnt",
    # SAS
    "phy-*/sas_phy/*/*linkrate*",
    "phy-*/sas_phy/*/*_count",
    "sas_port/*/num_phys",
    # USB device and interface
    "speed",
    "version",
    "rx_lanes",
    "tx_lanes",
    "serial",
    "product",
    "manufacturer",
    "maxchild",
    "bInterfaceProtocol",
    # NVMe controller and subsystem, MMC
    "firmware_rev",
    "transport",
    "address",
    "iopolicy",
    "name",
)
ANCESTOR_LINKS = ("driver", "subsystem", "phy-*")

PROC = (
    "proc/mdstat",
    "proc/self/mountinfo",
    "proc/sys/kernel/hostname",
    "proc/sys/kernel/osrelease",
    "proc/sys/kernel/random/boot_id",
)
LEFT_OUT = frozenset({"journal_mode", "stat", "sas_address"})


def gather(root: Path) -> list[Entry]:
    """Every file, directory and link that describes the block devices below ``root``."""
    found: dict[str, Entry] = {}
    for entry in _walk_machine(root):
        found.setdefault(entry.path, entry)
    return list(found.values())


def _walk_machine(root: Path) -> Iterator[Entry]:
    for path in PROC:
        if (content := _content(root / path)) is not None:
            yield Entry(path=path, kind="file", content=content)
    yield from _files(root, root, "run/udev/data/b*")
    for link in sorted((root / "sys/class/block").iterdir()):
        yield _link(root, link)
        device = link.resolve()
        yield from _block_device(root, device)
        real = root.resolve()
        for ancestor in device.parents:
            if ancestor in (real / "sys/devices", real):
                break
            yield from _ancestor(root, ancestor)


def _block_device(root: Path, device: Path) -> Iterator[Entry]:
    if (device / "device").is_symlink():
        yield _link(root, device / "device")
    for pattern in (*BLOCK, *(f"queue/{name}" for name in QUEUE)):
        yield from _files(root, device, pattern)
    for name in BLOCK_DIRECTORIES:
        if (device / name).is_dir():
            yield Entry(path=_relative(root, device / name), kind="dir")
            for child in (device / name).iterdir():
                yield _link(root, child)


def _ancestor(root: Path, ancestor: Path) -> Iterator[Entry]:
    yield Entry(path=_relative(root, ancestor), kind="dir")
    for pattern in ANCESTOR:
        yield from _files(root, ancestor, pattern)
    for pattern in ANCESTOR_LINKS:
        yield from (_link(root, path) for path in ancestor.glob(pattern) if path.is_symlink())


def _files(root: Path, base: Path, pattern: str) -> Iterator[Entry]:
    """The readable files matching a pattern; links and directories on the way as such."""
    for path in sorted(base.glob(pattern)):
        if path.name in LEFT_OUT:
            continue
        if path.is_symlink():
            yield _link(root, path)
        elif path.is_dir():
            yield Entry(path=_relative(root, path), kind="dir")
        elif (content := _content(path)) is not None:
            yield Entry(path=_relative(root, path), kind="file", content=content)


def _content(path: Path) -> bytes | None:
    """None for what cannot be read here: a write-only attribute, an error from the driver."""
    try:
        if path.stat().st_mode & 0o444 == 0:
            return None
        return path.read_bytes()
    except OSError:
        return None


def _link(root: Path, path: Path) -> Entry:
    return Entry(path=_relative(root, path), kind="link", content=os.readlink(path).encode())


def _relative(root: Path, path: Path) -> str:
    """Path below the root, with the directory part resolved: where the file really is."""
    real = path.parent.resolve() / path.name
    return str(real.relative_to(root.resolve()))
