"""Which filesystems let a file stand for the device below, and what they do to it. Pure."""

from __future__ import annotations

from arraygauge.inventory.values import Mount

_NETWORK = "lies on another machine, so reading it would measure the network"
_MEMORY = "lies in memory, so reading it would measure no drive"
_STACKED = "is stacked on another filesystem, which hides the device; name a directory on that one"
_ENCRYPTED = "encrypts all files, so its cipher would be measured; name a directory elsewhere"
_THROUGH_MEMORY = "takes direct writes through memory, whose rate would be measured"
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
    **dict.fromkeys(("aufs", "overlay"), _STACKED),
    "ecryptfs": _ENCRYPTED,
    **dict.fromkeys(("cramfs", "erofs", "iso9660", "romfs", "squashfs", "udf"), _READ_ONLY),
}  # fmt: skip
_ON_DEVICES = frozenset(
    (
        "bcachefs", "btrfs", "exfat", "ext2", "ext3", "ext4", "f2fs", "hfsplus", "jfs", "msdos",
        "nilfs2", "ntfs3", "reiserfs", "vfat", "xfs",
    )
)  # fmt: skip
_UNFIT_TO_WRITE = {"nilfs2": _THROUGH_MEMORY}
_COPYING, _LOG_LIKE = ("bcachefs", "btrfs"), ("f2fs", "nilfs2")
_NEVER_COPYING = ("nodatacow", "nocow")
_COMPRESSING = ("compress", "compress-force", "compression", "compress_algorithm")
_LOG_ELSEWHERE = ("logdev", "journal_dev", "journal_path")


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


def why_unfit_to_write(mount: Mount) -> str | None:
    """Why writing to an own file there would not tell how the device writes; None where it does.

    Options are the kernel's: ext4 journals file data with ``data=journal``, xfs has a place
    for data of its own with ``rtdev`` (Documentation/admin-guide/ext4.rst and xfs.rst). That
    nilfs2 writes through memory: its nilfs_direct_IO, from memory.
    """
    kind = mount.filesystem
    if (unfit := why_unfit(kind, mount.read_only)) is not None:
        return unfit
    if kind in _UNFIT_TO_WRITE:
        return f"{kind} {_UNFIT_TO_WRITE[kind]}"
    if "data=journal" in mount.options:
        return "it writes all data to its journal first (data=journal), and so everything twice"
    if _values(mount, "rtdev"):
        return "it keeps files on a second device (rtdev)"
    return None


def notes_on(mount: Mount, in_place: bool) -> tuple[str, ...]:
    """What there differs from writing plainly in place, and what is done about it.

    ``in_place``: the file itself is exempt from copying on write (FS_NOCOW_FL, ioctl_iflags(2)).
    """
    exempt = in_place or any(option in mount.options for option in _NEVER_COPYING)
    return tuple(
        note
        for note in (
            _on_copying(mount.filesystem, exempt),
            None if exempt else _on_compressing(mount),
            _on_flushing(mount),
        )
        if note is not None
    )


def _on_copying(filesystem: str, exempt: bool) -> str | None:
    if filesystem in _LOG_LIKE:
        return f"{filesystem} writes like a log: what is overwritten goes to a new place"
    if filesystem not in _COPYING:
        return None
    if exempt:
        return (
            f"{filesystem} copies on write, but not the agent's file: that is overwritten in "
            "place, without checksums and compression, and may be faster than other files there"
        )
    return (
        f"{filesystem} copies on write: what is overwritten goes to a new place, with its "
        "checksum, so the rate is that of both together"
    )


def _on_compressing(mount: Mount) -> str | None:
    methods = [word for option in _COMPRESSING for word in _values(mount, option)]
    if not methods:
        return None
    return (
        f"{mount.filesystem} compresses ({methods[0]}); what is written is random and stays as "
        "large as it is, though the attempt may take the processor's time"
    )


def _on_flushing(mount: Mount) -> str | None:
    if "sync" in mount.options:
        return "it is mounted with sync: every transfer is flushed by itself"
    if any(_values(mount, option) for option in _LOG_ELSEWHERE):
        return "its log lies on another device, which takes part in the flush"
    return None


def _values(mount: Mount, option: str) -> list[str]:
    """What stands after ``option=``, or the option itself where it stands alone."""
    pairs = [each.partition("=") for each in mount.options]
    return [value or name for name, _, value in pairs if name == option]
