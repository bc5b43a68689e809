"""What the lab needs of the host: where it is, and what is missing."""

from __future__ import annotations

import shutil
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[2]
LAB = REPOSITORY / ".lab"
"""Everything the lab keeps between runs; git-ignored, made by setup.sh."""
KERNEL_TREE = LAB / "kernel"
"""The unpacked kernel package: boot/ and lib/modules/."""
HERE = Path(__file__).resolve().parent

_COMMANDS = (
    *("qemu-system-x86_64", "busybox", "cpio", "modprobe", "setpriv"),
    *("mkfs.ext4", "mkfs.xfs", "strace"),  # used in the guest, which sees the host's own
)


class LabError(Exception):
    """The lab itself failed, not the program under test."""


def find_kernel() -> Path | None:
    """The unpacked kernel image; the newest by name if there are several, None if none."""
    return max(KERNEL_TREE.glob("boot/vmlinuz-*"), default=None)


def why_unavailable() -> str | None:
    """Why no lab machine can boot here, in words for a test report; None when one can."""
    missing = [command for command in _COMMANDS if find_command(command) is None]
    if find_kernel() is None:
        missing.append("a kernel under .lab/kernel")
    if not missing:
        return None
    return f"the VM lab needs {', '.join(missing)}: run 'tests/lab/setup.sh' as root on Debian"


def find_command(name: str) -> str | None:
    """The path of a command, /sbin included: an ordinary user's PATH lacks it. None if absent."""
    return shutil.which(name) or shutil.which(name, path="/usr/sbin:/sbin")


def require_command(name: str) -> str:
    """The path of a command; LabError when absent."""
    path = find_command(name)
    if path is None:
        raise LabError(f"the command '{name}' is not installed")
    return path
