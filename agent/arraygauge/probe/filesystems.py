"""Which filesystems let a read of a file stand for a read of the device below. Pure."""

from __future__ import annotations

_NETWORK = "lies on another machine, so reading it would measure the network"
_MEMORY = "lies in memory, so reading it would measure no drive"
_STACKED = "is stacked on another filesystem, which hides the device; name a directory on that one"
_READ_ONLY = "can only be read, and a file must be written once; name a directory elsewhere"

_UNFIT = {
    **dict.fromkeys(
        (
            "9p", "afs", "beegfs", "ceph", "cifs", "coda", "gfs2", "glusterfs", "lustre",
            "nfs", "nfs4", "ocfs2", "orangefs", "smb3", "smbfs", "virtiofs",
        ),
        _NETWORK,
    ),
    **dict.fromkeys(("tmpfs", "ramfs", "devtmpfs", "hugetlbfs"), _MEMORY),
    **dict.fromkeys(("aufs", "ecryptfs", "overlay"), _STACKED),
    **dict.fromkeys(("cramfs", "erofs", "iso9660", "romfs", "squashfs", "udf"), _READ_ONLY),
}  # fmt: skip
_ON_DEVICES = frozenset(
    (
        "bcachefs", "btrfs", "exfat", "ext2", "ext3", "ext4", "f2fs", "hfsplus", "jfs", "msdos",
        "nilfs2", "ntfs3", "reiserfs", "vfat", "xfs",
    )
)  # fmt: skip


def why_unfit(filesystem: str, read_only: bool) -> str | None:
    """Why no own file should be made there; None where one may.

    ``filesystem`` is the type in /proc/self/mountinfo. One that is not known is
    refused: what lies below it is not known either.
    """
    kind = filesystem.partition(".")[0]
    if kind in ("fuse", "fuseblk"):
        return f"{filesystem} is run by a program, whose speed would be measured instead"
    if filesystem in _UNFIT:
        return f"{filesystem} {_UNFIT[filesystem]}"
    if filesystem not in _ON_DEVICES:
        return f"{filesystem} is not known to keep its files on a block device"
    if read_only:
        return "it is mounted read-only; name a directory on a writable filesystem"
    return None
