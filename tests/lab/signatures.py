"""What a drive shows of its use: signatures as their programs write them, by hand.

Each is the least that libblkid knows it by; sources beside each, layouts [M] from memory where
so marked. ``at_end`` counts back from the drive's end.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """Bytes at an offset, and by which name the refusal must tell it."""

    name: str
    offset: int
    data: bytes

    def where(self, size: int) -> int:
        return self.offset if self.offset >= 0 else size + self.offset


def _md_superblock(super_offset_sectors: int) -> bytes:
    """struct mdp_superblock_1 of one raid1 member, checksum as calc_sb_1_csum does it
    (include/uapi/linux/raid/md_p.h, drivers/md/md.c)."""
    head = struct.pack(
        "<IIII16s32sQIIQIII",
        0xA92B4EFC, 1, 0, 0, b"\x11" * 16, b"lab:0", 0, 1, 0, 8192, 0, 2, 0,
    )  # fmt: skip
    body = bytearray(head.ljust(256 + 4, b"\0"))
    struct.pack_into("<QQQ", body, 128, 2048, 8192, super_offset_sectors)
    struct.pack_into("<I", body, 220, 2)  # max_dev
    total = sum(struct.unpack(f"<{len(body) // 4}I", bytes(body)))
    total += 0
    struct.pack_into("<I", body, 216, (total & 0xFFFFFFFF) + (total >> 32) & 0xFFFFFFFF)
    return bytes(body)


LVM = Mark(
    name="LVM2_member",
    offset=512,
    # The label of a physical volume: "LABELONE", its sector, a checksum (wrong here, which
    # must not matter), the offset of what follows, the type [M].
    data=struct.pack("<8sQII8s32s", b"LABELONE", 1, 0, 32, b"LVM2 001", b"a" * 32),
)
MD_12 = Mark(name="linux_raid_member", offset=4096, data=_md_superblock(8))
LUKS = Mark(name="crypto_LUKS", offset=0, data=b"LUKS\xba\xbe\x00\x01".ljust(592, b"\0"))
"""LUKS1 on-disk format: magic and version."""
BTRFS = Mark(name="btrfs", offset=0x10040, data=b"_BHRfS_M")
"""btrfs on-disk format: the magic in the superblock at 64 KiB; its checksum is wrong here."""
DOS = Mark(
    name="dos",
    offset=446,
    data=struct.pack("<BBBBBBBBII", 0, 0, 2, 0, 0x83, 0, 3, 0, 2048, 8192).ljust(64, b"\0")
    + b"\x55\xaa",
)
"""A partition table that the kernel has not read: one partition of Linux's type."""
MARKS = (LVM, MD_12, LUKS, BTRFS, DOS)
