"""The disk that the guest with systemd boots: a small Debian, the agent as installed, and the
lab's own service, which carries out what tests ask.

setup_systemd.sh makes the Debian; the disk is made anew when the program or this file changed.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from lab.host import HERE, LAB, REPOSITORY, LabError, require_command

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
PROGRAM_FOLDER = Path("usr/lib/arraygauge")
# The agent starts itself again for the inventory, by `python -m`: children have to find it too.
LAUNCHER = """#!/bin/sh
export PYTHONPATH=/usr/lib/arraygauge PYTHONSAFEPATH=1
exec /usr/bin/python3 -s -m arraygauge "$@"
"""
UNIT = REPOSITORY / "systemd/arraygauge.service"


def why_no_disk() -> str | None:
    """Why there can be no such disk here, in words for a test report; None when there can."""
    if find_tree() is None:
        return "the lab has no Debian with systemd: run 'tests/lab/setup_systemd.sh' as root"
    if os.geteuid() != 0:
        return "the disk of a Debian with systemd holds root's files: run this test as root"
    return None


def find_tree() -> Path | None:
    """The Debian that was made; None if there is none."""
    return next(FOLDER.glob("tree-*"), None)


def find_package() -> Path | None:
    """The newest Debian package of the agent in dist/; None if there is none."""
    found = (REPOSITORY / "dist").glob("arraygauge_*.deb")
    return max(found, key=lambda path: path.stat().st_mtime, default=None)


def disk() -> Path:
    """The disk for the program as it is now. LabError when it cannot be made."""
    tree = find_tree()
    if tree is None:
        raise LabError(f"no Debian under {FOLDER}: run tests/lab/setup_systemd.sh")
    target = FOLDER / f"disk-{_digest(tree)}.ext4"
    if not target.exists():
        with tempfile.TemporaryDirectory(dir=FOLDER) as scratch:
            made = _make(tree, Path(scratch))
            for old in FOLDER.glob("disk-*.ext4"):
                old.unlink()
            os.replace(made, target)
    return target


def _digest(tree: Path) -> str:
    """Of all that goes onto the disk."""
    package = find_package()
    sources = [package] if package else [*_program_files().values(), UNIT]
    digest = hashlib.sha256(tree.name.encode())
    for source in (*sources, HERE / "guest_agent.py", Path(__file__)):
        digest.update(f"{source.name}\n".encode() + source.read_bytes())
    return digest.hexdigest()[:16]


def _make(tree: Path, scratch: Path) -> Path:
    root, made = scratch / "root", scratch / "disk.ext4"
    _run("cp", "--archive", "--reflink=auto", str(tree), str(root))
    place_program(root)
    (root / LAB_FOLDER).mkdir(parents=True)
    shutil.copy(HERE / "guest_agent.py", root / LAB_FOLDER)
    (root / "etc/systemd/system/lab-agent.service").write_text(LAB_UNIT)
    _run("systemctl", f"--root={root}", "enable", "lab-agent.service")
    # A test says when it starts, so that it can be measured.
    _run("systemctl", f"--root={root}", "disable", "arraygauge.service")
    make = require_command("mke2fs")
    _run(make, "-q", "-t", "ext4", "-d", str(root), str(made), f"{DISK_MEGABYTES}M")
    return made


def place_program(root: Path) -> None:
    """Installs the agent below a root: its Debian package where dist/ has one, else the
    repository's program and what it depends on, laid out as the package does."""
    package = find_package()
    if package is not None:
        shutil.copy(package, root / "arraygauge.deb")
        _run("chroot", str(root), "dpkg", "--install", "/arraygauge.deb")
        (root / "arraygauge.deb").unlink()
        return
    for place, source in _program_files().items():
        target = root / PROGRAM_FOLDER / place
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(source, target)
    # Emulated, compiling would take longer than all else; and the service may not write there.
    _run("chroot", str(root), "python3", "-m", "compileall", "-q", f"/{PROGRAM_FOLDER}")
    launcher = root / "usr/bin/arraygauge"
    launcher.write_text(LAUNCHER)
    launcher.chmod(0o755)
    shutil.copy(UNIT, root / "usr/lib/systemd/system")


def _program_files() -> dict[str, Path]:
    """Where each file of the agent and its locked dependencies goes, and where it is now."""
    files: dict[str, Path] = {}
    for line in (REPOSITORY / "requirements.lock").read_text().splitlines():
        name, locked, _ = line.partition("==")
        if not locked or name.startswith(("#", " ")):
            continue
        for installed in importlib.metadata.files(name) or ():
            if ".." not in installed.parts and installed.suffix != ".pyc":
                files[str(installed)] = Path(str(installed.locate()))
    agent = REPOSITORY / "agent"
    for path in sorted((agent / "arraygauge").rglob("*")):
        if path.is_file() and path.suffix != ".pyc":
            files[str(path.relative_to(agent))] = path
    return files


def _run(*command: str) -> None:
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise LabError(f"{' '.join(command)} failed: {done.stderr.strip()}")
