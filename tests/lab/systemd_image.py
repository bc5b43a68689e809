"""The disk that the guest with systemd boots: a small Debian, the agent as installed, and the
lab's own service, which carries out what tests ask.

setup_systemd.sh makes the Debian; the disk is made anew when anything of the repository changed.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from lab.host import HERE, LAB, REPOSITORY, LabError, require_command
from package.building import build, copied, why_no_package

FOLDER = LAB / "systemd"
DISK_MEGABYTES = 1024
"""Of which the file has only what is written."""
LAB_FOLDER = Path("usr/local/lib/lab")
LAB_UNIT = """[Unit]
Description=Carries out what the tests ask

[Service]
ExecStart=/usr/bin/python3 /usr/local/lib/lab/guest_agent.py
# What a test leaves behind must not hold up a reboot.
TimeoutStopSec=2

[Install]
WantedBy=multi-user.target
"""
UNIT = REPOSITORY / "systemd/arraygauge.service"


def why_no_disk() -> str | None:
    """Why there can be no such disk here, in words for a test report; None when there can."""
    if find_tree() is None:
        return "the lab has no Debian with systemd: run 'tests/lab/setup_systemd.sh' as root"
    if os.geteuid() != 0:
        return "the disk of a Debian with systemd holds root's files: run this test as root"
    return why_no_package()


def find_tree() -> Path | None:
    """The Debian that was made; None if there is none."""
    return next(FOLDER.glob("tree-*"), None)


def disk() -> Path:
    """The disk for the program as it is now, installed from its Debian package. LabError when
    it cannot be made."""
    tree = find_tree()
    if tree is None:
        raise LabError(f"no Debian under {FOLDER}: run tests/lab/setup_systemd.sh")
    with tempfile.TemporaryDirectory(dir=FOLDER) as scratch:
        source = copied(Path(scratch) / "arraygauge")
        target = FOLDER / f"disk-{_digest(tree, source)}.ext4"
        if not target.exists():
            made = _make(tree, build(source).package, Path(scratch))
            for old in FOLDER.glob("disk-*.ext4"):
                old.unlink()
            os.replace(made, target)
    return target


def _digest(tree: Path, source: Path) -> str:
    """Of all that the disk is made of, and more: everything in the repository."""
    digest = hashlib.sha256(tree.name.encode())
    for path in sorted(each for each in source.rglob("*") if each.is_file()):
        digest.update(f"{path.relative_to(source)}\n".encode() + path.read_bytes())
    return digest.hexdigest()[:16]


def _make(tree: Path, package: Path, scratch: Path) -> Path:
    root, made = scratch / "root", scratch / "disk.ext4"
    _run("cp", "--archive", "--reflink=auto", str(tree), str(root))
    shutil.copy(package, root / "arraygauge.deb")
    _run("chroot", str(root), "dpkg", "--install", "/arraygauge.deb")
    (root / "arraygauge.deb").unlink()
    (root / LAB_FOLDER).mkdir(parents=True)
    shutil.copy(HERE / "guest_agent.py", root / LAB_FOLDER)
    (root / "etc/systemd/system/lab-agent.service").write_text(LAB_UNIT)
    _run("systemctl", f"--root={root}", "enable", "lab-agent.service")
    # A test says when it starts, so that it can be measured.
    _run("systemctl", f"--root={root}", "disable", "arraygauge.service")
    make = require_command("mke2fs")
    _run(make, "-q", "-t", "ext4", "-d", str(root), str(made), f"{DISK_MEGABYTES}M")
    return made


def _run(*command: str) -> None:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise LabError(f"{' '.join(command)} failed: {done.stderr.strip()}")
