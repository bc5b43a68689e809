"""What a lab machine is made of: plain values, no effects.

Equal descriptions are the same machine: ``boot_lab`` boots each one once.
Rates are bytes per second, sizes bytes.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from math import ceil

KIB = 1024
MIB = 1024 * KIB

MAPPING_BYTES = 64 * KIB
"""The unit in which a drive knows what was ever written."""
BAD_SECTOR_BYTES = 4 * KIB

_NAME = re.compile(r"[a-z][a-z0-9-]{0,19}")
"""A drive's name is also its serial number, which ATA limits to 20 characters (ACS-4,
IDENTIFY DEVICE words 10-19), and part of QEMU's node names (at most 31)."""


class Transport(StrEnum):
    """How a drive is attached to the guest."""

    VIRTIO = "virtio"
    AHCI = "ahci"
    NVME = "nvme"


class Contents(StrEnum):
    """What stands behind a drive."""

    NULL = "null"
    """Nothing: reads give zeros, writes are forgotten, no memory is used. Not for drives that
    the agent measures: it sets zeros aside."""
    RAM = "ram"
    """The host's memory, filled with incompressible bytes; what is written stays."""
    BLANK = "blank"
    """The host's memory, zeros at first; what is written stays, and only that uses memory."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mapped:
    """The share of a drive that was ever written, in pieces spread evenly over it.

    Reads of the rest give zeros and do not count against the drive's rate, as a drive that
    maps its flash answers without reading it. A write maps 64 KiB at a time.
    """

    share: float
    piece_bytes: int = 4 * MIB

    def __post_init__(self) -> None:
        """Raises ValueError for what cannot be laid out."""
        if not 0 <= self.share <= 1 or self.piece_bytes % MAPPING_BYTES:
            raise ValueError(f"{self} cannot be laid out in units of {MAPPING_BYTES} bytes")

    def is_mapped(self, offset: int) -> bool:
        """Whether the byte at the offset lies in a mapped piece; the first piece is one."""
        piece = offset // self.piece_bytes
        return ceil((piece + 1) * self.share) > ceil(piece * self.share)


@dataclass(frozen=True, slots=True, kw_only=True)
class BadRange:
    """Where every read fails: the drive's sectors of 4 KiB cannot be read any more."""

    start_bytes: int
    length_bytes: int

    def __post_init__(self) -> None:
        """Raises ValueError for a part of a sector."""
        if self.start_bytes % BAD_SECTOR_BYTES or self.length_bytes % BAD_SECTOR_BYTES:
            raise ValueError(f"{self} is not whole sectors of {BAD_SECTOR_BYTES} bytes")


@dataclass(frozen=True, slots=True, kw_only=True)
class Uplink:
    """A link that drives share: the sum of their rates is capped, each direction by itself."""

    name: str
    bytes_per_second: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """One drive, throttled to a rate in each direction.

    The throttle lets a tenth of a second's worth of bytes pass at once after idleness
    (QEMU, docs/throttle.txt: the bucket of a limit without an explicit burst), so a
    transfer of T seconds reads up to 0.1 / T above the rate. ``block_bytes`` is the logical
    block size, which an AHCI drive cannot have other than 512.
    """

    name: str
    transport: Transport
    bytes_per_second: int
    size_bytes: int = 256 * MIB
    uplink: str | None = None
    rotational: bool = False
    contents: Contents = Contents.RAM
    mapped: Mapped | None = None
    bad_range: BadRange | None = None
    block_bytes: int = 512

    def __post_init__(self) -> None:
        """Raises ValueError when nothing is there that could be mapped."""
        if self.mapped is not None and self.contents is Contents.NULL:
            raise ValueError(f"the drive '{self.name}' holds nothing that could be mapped")


@dataclass(frozen=True, slots=True, kw_only=True)
class ArraySpec:
    """One md array over whole drives, without metadata (``metadata_version`` none).

    ``level`` is the kernel's word; ``layout`` its integer for that level
    (Documentation/admin-guide/md.rst), None where the level has none.
    raid1 and linear take no chunk: pass 0. ``component_bytes`` None uses the smallest drive.
    """

    name: str
    level: str
    members: tuple[str, ...]
    chunk_bytes: int = 512 * KIB
    layout: int | None = None
    component_bytes: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """Drives, the uplinks they share and the arrays that exist from the start."""

    drives: tuple[Drive, ...]
    uplinks: tuple[Uplink, ...] = ()
    arrays: tuple[ArraySpec, ...] = ()
    memory_bytes: int = 1024 * MIB
    processors: int = 2

    def __post_init__(self) -> None:
        """Raises ValueError when names are unfit, repeated or refer to nothing."""
        names = [part.name for part in self.throttled]
        for name in names:
            if not _NAME.fullmatch(name):
                raise ValueError(f"'{name}' is not a lab name: match {_NAME.pattern}")
        if len(set(names)) != len(names):
            raise ValueError(f"names are used twice in {names}")
        uplinks = {uplink.name for uplink in self.uplinks}
        if unknown := {drive.uplink for drive in self.drives if drive.uplink} - uplinks:
            raise ValueError(f"no such uplink: {sorted(unknown)}")
        for array in self.arrays:
            for member in array.members:
                self.drive(member)

    @property
    def throttled(self) -> tuple[Drive | Uplink, ...]:
        """All that has a rate."""
        return (*self.drives, *self.uplinks)

    def drive(self, name: str) -> Drive:
        """The drive of that name; ValueError when the machine has none."""
        for drive in self.drives:
            if drive.name == name:
                return drive
        raise ValueError(f"the lab machine has no drive '{name}'")

    def uplink(self, name: str) -> Uplink:
        """The uplink of that name; ValueError when the machine has none."""
        for uplink in self.uplinks:
            if uplink.name == name:
                return uplink
        raise ValueError(f"the lab machine has no uplink '{name}'")
