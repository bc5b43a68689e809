"""A Debian 12 to install in: a copy of the lab's tree, entered by chroot."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
from dataclasses import dataclass
from pathlib import Path

from package.building import Built

SECONDS = 120
PATH = "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
# In a mount namespace of its own: however a command ends, nothing stays mounted.
MOUNTED = (
    'mount -t proc -o ro proc "$0/proc"; mount -t sysfs -o ro sysfs "$0/sys"; exec chroot "$@"'
)


# Every Debian has them, the lab's slim one has not: dpkg would take them for this package's.
SLIMMED = ("usr/share/doc", "usr/share/man/man1")


@dataclass(frozen=True, kw_only=True, slots=True)
class Said:
    status: int
    output: str
    errors: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Chroot:
    root: Path

    def run(
        self,
        *command: str,
        user: str = "root",
        folder: str = "/",
        surroundings: dict[str, str] | None = None,
        kernel: bool = True,
    ) -> Said:
        """Runs a command and says how it went. ``kernel``: whether /proc and /sys are there."""
        inside = [f"--userspec={user}", str(self.root), "/usr/bin/env", "-i", "-C", folder]
        given = {"PATH": PATH, "HOME": f"/home/{user}", "LANG": "C.UTF-8", **(surroundings or {})}
        words = [*inside, *(f"{name}={value}" for name, value in given.items()), *command]
        enter = ["chroot"]
        if kernel:
            own = ["unshare", "--mount", "--propagation", "private"]
            enter = [*own, "sh", "-eu", "-c", MOUNTED, str(self.root)]
        done = subprocess.run(
            [*enter, *words],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
            timeout=SECONDS,
        )
        return Said(status=done.returncode, output=done.stdout, errors=done.stderr)

    def done(self, *command: str) -> str:
        """Of a command that has to succeed: what it put out."""
        said = self.run(*command)
        assert said.status == 0, f"{' '.join(command)}: {said.output}{said.errors}"
        return said.output

    def install(self, built: Built, *options: str) -> str:
        """By dpkg alone, from a file that is gone afterwards."""
        given = self.path("tmp") / built.package.name
        shutil.copy(built.package, given)
        try:
            return self.done("dpkg", *options, "--install", f"/tmp/{built.package.name}")
        finally:
            given.unlink()

    def path(self, inside: str) -> Path:
        return self.root / inside.removeprefix("/")

    def write(self, inside: str, text: str) -> Path:
        path = self.path(inside)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
        return path

    def everything(self) -> dict[str, tuple[object, ...]]:
        """Each file and folder by path, with all that can change but the time: a folder's time
        tells of what came and went in it, as does dpkg's work on its own lists."""
        found: dict[str, tuple[object, ...]] = {}
        for folder, folders, files in os.walk(self.root):
            for name in (*folders, *files):
                path = Path(folder, name)
                about = path.lstat()
                content: object = None
                if stat.S_ISLNK(about.st_mode):
                    content = os.readlink(path)
                elif stat.S_ISREG(about.st_mode):
                    content = path.read_bytes()
                kept = (about.st_mode, about.st_uid, about.st_gid, content)
                found[str(path.relative_to(self.root))] = kept
        return found


def why_no_chroot(tree: Path | None) -> str | None:
    """Why nothing can be installed here, in words for a test report; None when it can."""
    if tree is None:
        return "there is no Debian to install in: run 'tests/lab/setup_systemd.sh' as root"
    if os.geteuid() != 0:
        return "a Debian is entered by chroot: run this test as root"
    missing = [name for name in ("chroot", "unshare", "mount") if shutil.which(name) is None]
    return f"no {' and no '.join(missing)} here" if missing else None


def made(tree: Path, root: Path) -> Chroot:
    """A copy of a tree, to be changed."""
    command = ["cp", "--archive", "--reflink=auto", str(tree), str(root)]
    subprocess.run(command, check=True, capture_output=True)
    for folder in SLIMMED:
        (root / folder).mkdir(parents=True, exist_ok=True)
    return Chroot(root=root)
