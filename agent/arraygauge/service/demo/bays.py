"""The invented workstation as built: which make of drive is in which bay, of which array."""

from __future__ import annotations

from arraygauge.config import Configuration
from arraygauge.config.model import ParitySection, RunSection, UplinkSection
from arraygauge.inventory.values import Level
from arraygauge.service.demo.drives import DISK_B, SSD_A, SSD_C, SSD_D, Make
from arraygauge.values import frozen

UPLINK = "chipset uplink (invented)"
UPLINK_BYTES_PER_SECOND = 6.4e9
"""What all that is attached to the chipset gets through together, and what is declared of it."""
PASS_SECONDS = 16 * 3600.0
"""From one pass to the next, at other hours from day to day. A real agent makes 24 passes a day;
with so few a simulated year is through in seconds, and what is usual is learned in 112 days."""
PARITY_MB_PER_SECOND = 9000.0
"""Declared, so that nothing need be measured on the real processor."""


@frozen
class Bay:
    """A place for a drive, by the kernel's name of whatever is in it."""

    name: str
    make: Make
    number: int
    """Among the bays of its make, from 1."""


@frozen
class Shelf:
    """An array as built."""

    name: str
    level: Level
    layout: int | None
    chunk_bytes: int
    bays: tuple[str, ...]
    size_bytes: int
    mount_point: str


def _bays(names: tuple[str, ...], make: Make) -> tuple[Bay, ...]:
    return tuple(Bay(name=name, make=make, number=n) for n, name in enumerate(names, 1))


_FAST = ("nvme0n1", "nvme1n1", "nvme2n1", "nvme3n1")
_LARGE = ("sdb", "sdc", "sdd", "sde")
_SAFE = ("sdf", "sdg", "sdh", "sdi")

BAYS: tuple[Bay, ...] = (
    *_bays(("sda",), SSD_C),
    *_bays(_FAST, SSD_A),
    *_bays(_LARGE, DISK_B),
    *_bays(_SAFE, SSD_D),
)
SHELVES: tuple[Shelf, ...] = (
    Shelf(
        name="md0",
        level=Level.RAID0,
        layout=None,
        chunk_bytes=512 * 1024,
        bays=_FAST,
        size_bytes=4 * SSD_A.size_bytes,
        mount_point="/invented/scratch",
    ),
    Shelf(
        name="md1",
        level=Level.RAID5,
        layout=2,
        chunk_bytes=512 * 1024,
        bays=_LARGE,
        size_bytes=3 * DISK_B.size_bytes,
        mount_point="/invented/archive",
    ),
    Shelf(
        name="md2",
        level=Level.RAID10,
        layout=258,
        chunk_bytes=512 * 1024,
        bays=_SAFE,
        size_bytes=2 * SSD_D.size_bytes,
        mount_point="/invented/projects",
    ),
)


def bay_named(name: str) -> Bay:
    return next(bay for bay in BAYS if bay.name == name)


def configuration_of(port: int) -> Configuration:
    """What its invented owner declared: the uplink and nothing that tells anybody."""
    return Configuration(
        run=RunSection(interval_seconds=PASS_SECONDS, listen_port=port),
        parity=ParitySection(mb_per_second=PARITY_MB_PER_SECOND),
        uplink=(
            UplinkSection(
                name=UPLINK,
                devices=("nvme*", "sd*"),
                read_mb_per_second=UPLINK_BYTES_PER_SECOND / 1e6,
            ),
        ),
    )
