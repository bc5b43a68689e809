"""The kernel and the initial file system a lab machine boots, built once and kept in .lab.

The file system holds busybox, the modules in load order and ``init.sh``; everything else
comes from the host's own root over 9p.
"""

from __future__ import annotations

import hashlib
import lzma
import os
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

from lab.host import HERE, KERNEL_TREE, LAB, LabError, find_kernel, require_command

MODULES = (
    *("virtio_pci", "virtio_console", "virtio_rng", "9pnet_virtio", "9p", "overlay"),
    *("virtio_blk", "ahci", "sd_mod", "nvme", "loop", "dm_mod", "dm_crypt", "ext4"),
    *("linear", "raid0", "raid1", "raid10", "raid456"),
)
"""Loaded in this order, each after what it depends on."""

_XZ_MAGIC = b"\xfd7zXZ\0"
_ELF_MAGIC = b"\x7fELF"


@dataclass(frozen=True, slots=True, kw_only=True)
class Image:
    """What QEMU is given to boot."""

    kernel: Path
    initial_file_system: Path
    root: Path | None = None
    """A disk whose changes end with QEMU; None: the root is the host's own, over 9p."""


def build(init: Path = HERE / "init.sh", root: Path | None = None) -> Image:
    """The image for the kernel in .lab, built anew only when something in it changed.

    Raises LabError when the kernel is absent or not in the form expected.
    """
    packed = find_kernel()
    if packed is None:
        raise LabError(f"no kernel under {KERNEL_TREE}: run tests/lab/setup.sh")
    version = packed.name.removeprefix("vmlinuz-")
    return Image(
        kernel=_unpack_kernel(packed, LAB / f"vmlinux-{version}"),
        initial_file_system=_pack_file_system(version, init),
        root=root,
    )


def _unpack_kernel(packed: Path, target: Path) -> Path:
    """The kernel proper: unpacking it here saves the guest doing so, slowly, at each boot."""
    if target.exists() and target.stat().st_mtime >= packed.stat().st_mtime:
        return target
    data = packed.read_bytes()
    start = data.find(_XZ_MAGIC)
    kernel = lzma.LZMADecompressor().decompress(data[start:]) if start >= 0 else b""
    if not kernel.startswith(_ELF_MAGIC):
        return packed
    return _publish(kernel, target)


def _pack_file_system(version: str, init: Path) -> Path:
    modules = _modules(version)
    parts = (Path(require_command("busybox")), init, *modules)
    digest = hashlib.sha256("\n".join(part.name for part in parts).encode())
    for part in parts:
        digest.update(part.read_bytes())
    target = LAB / f"initial-{digest.hexdigest()[:16]}.cpio"
    return target if target.exists() else _publish(_archive(parts[0], parts[1], modules), target)


def _modules(version: str) -> list[Path]:
    """The modules' files, dependencies first, none twice."""
    files: dict[Path, None] = {}
    for module in MODULES:
        shown = subprocess.run(
            [
                *(require_command("modprobe"), "--dirname", str(KERNEL_TREE)),
                *("--set-version", version, "--show-depends", module),
            ],
            capture_output=True,
            text=True,
            check=False,
        )
        if shown.returncode != 0:
            raise LabError(f"kernel {version} has no module {module}: {shown.stderr.strip()}")
        for line in shown.stdout.splitlines():
            kind, _, file = line.strip().partition(" ")
            if kind == "insmod":
                files.setdefault(Path(file.split()[0]))
    return list(files)


def _archive(busybox: Path, init: Path, modules: list[Path]) -> bytes:
    with tempfile.TemporaryDirectory() as scratch:
        root = Path(scratch)
        for directory in ("bin", "dev", "layer", "lower", "modules", "proc", "root", "sys"):
            (root / directory).mkdir()
        shutil.copy(busybox, root / "bin/busybox")
        shutil.copy(init, root / "init")
        (root / "init").chmod(0o755)
        for module in modules:
            shutil.copy(module, root / "modules")
        (root / "modules/order").write_text("".join(f"{module.name}\n" for module in modules))
        names = sorted(str(path.relative_to(root)) for path in root.rglob("*"))
        return subprocess.run(
            [require_command("cpio"), "--create", "--format=newc", "--quiet"],
            input="\n".join(names).encode(),
            cwd=root,
            capture_output=True,
            check=True,
        ).stdout


def _publish(data: bytes, target: Path) -> Path:
    """Writes a file so that nobody ever sees half of it."""
    with tempfile.NamedTemporaryFile(dir=target.parent, delete=False) as partial:
        partial.write(data)
    os.chmod(partial.name, 0o644)
    os.replace(partial.name, target)
    return target
