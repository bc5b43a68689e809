"""Filesystems in the guest: made on a device, mounted, filled with files whose sums are known."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from enum import StrEnum

from lab.guest import Guest
from lab.host import KERNEL_TREE
from lab.machine import MIB

MAKE_SECONDS = 120


class Kind(StrEnum):
    """The kernel's word for a filesystem."""

    EXT4 = "ext4"
    XFS = "xfs"


_MAKE: Mapping[Kind, str] = {
    # Nothing is left to be written later by the kernel: that would be somebody's I/O.
    Kind.EXT4: "mkfs.ext4 -q -F -E nodiscard,lazy_itable_init=0,lazy_journal_init=0",
    Kind.XFS: "mkfs.xfs -q -f -K",
}
"""XFS wants 300 MB at least."""


def load_module(guest: Guest, name: str) -> None:
    """Loads a module of the guest's kernel that is not loaded at boot."""
    guest.run(["modprobe", "--dirname", str(KERNEL_TREE), name]).checked()


@contextmanager
def mounted(guest: Guest, device: str, kind: Kind = Kind.EXT4) -> Iterator[str]:
    """A new filesystem on a block device, mounted: its directory. Unmounted in the end."""
    directory = f"/run/mounted-{device}"
    load_module(guest, kind)
    guest.run(f"{_MAKE[kind]} /dev/{device}", MAKE_SECONDS).checked()
    guest.run(f"mkdir -p {directory} && mount -t {kind} /dev/{device} {directory}").checked()
    try:
        yield directory
    finally:
        guest.run(f"umount {directory}", MAKE_SECONDS).checked()


def add_files(guest: Guest, directory: str, *, count: int, size_bytes: int = MIB) -> None:
    """Adds files of random bytes, each with its own, written through to the device."""
    script = (
        f"mkdir -p {directory} && for n in $(seq {count}); do "
        f"head -c {size_bytes} /dev/urandom >{directory}/$n || exit 1; done; sync -f {directory}"
    )
    guest.run(script, MAKE_SECONDS).checked()


def fill_up(guest: Guest, directory: str) -> None:
    """Takes all space that files can get, down to the last 4 KiB."""
    script = (
        f"cd {directory} && n=0; for size in 256M 64M 16M 4M 1M 64K 4K; do "
        "while fallocate -l $size filler-$n 2>/dev/null; do n=$((n+1)); done; rm -f filler-$n; "
        "done; sync -f ."
    )
    guest.run(script, MAKE_SECONDS).checked()


def free_bytes(guest: Guest, directory: str) -> int:
    """What is left for anybody but root, f_bavail of statfs(2)."""
    blocks, size = guest.run(["stat", "-f", "-c", "%a %S", directory]).checked().stdout.split()
    return int(blocks) * int(size)


def checksums(guest: Guest, directory: str) -> dict[str, str]:
    """SHA-256 of every file below, read anew from the device; names relative to it."""
    script = (
        "echo 3 >/proc/sys/vm/drop_caches; "
        f"cd {directory} && find . -type f -print0 | sort -z | xargs -0 -r sha256sum"
    )
    lines = guest.run(script, MAKE_SECONDS).checked().stdout.splitlines()
    return {name: value for value, _, name in (line.partition("  ") for line in lines)}
