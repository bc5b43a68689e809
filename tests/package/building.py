"""Builds the Debian package from copies of the repository, and looks into it.

Never in the repository itself: dist/ there is whoever's who builds by hand.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tarfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from io import BytesIO
from pathlib import Path

import arraygauge

REPOSITORY = Path(__file__).resolve().parents[2]
INTERPRETER = "/usr/bin/python3"
HOME = "usr/lib/arraygauge"
CONFFILE = "etc/arraygauge/config.toml"
BUILD_SECONDS = 300
EPOCH = 1_800_000_000
"""What everything built here is dated with; in 2027."""


@dataclass(frozen=True, kw_only=True)
class Built:
    """What a build left in its dist/. ``folder`` is the copy it was built from."""

    folder: Path
    wheel: Path
    package: Path
    bill: Path
    licences: Path

    @cached_property
    def members(self) -> dict[str, tarfile.TarInfo]:
        """All that is installed, by path without a slash in front."""
        with self._archive() as archive:
            found = {member.name.removeprefix("./"): member for member in archive}
        found.pop(".", None)
        return found

    @cached_property
    def files(self) -> dict[str, bytes]:
        """Contents of the regular files, by path."""
        with self._archive() as archive:
            return {
                member.name.removeprefix("./"): _content(archive, member)
                for member in archive
                if member.isfile()
            }

    @cached_property
    def control_files(self) -> dict[str, tuple[int, str]]:
        """The package's own files: mode and text, by name."""
        said = _output("dpkg-deb", "--ctrl-tarfile", str(self.package))
        with tarfile.open(fileobj=BytesIO(said)) as archive:
            return {
                member.name.removeprefix("./"): (member.mode, _content(archive, member).decode())
                for member in archive
                if member.isfile()
            }

    @cached_property
    def fields(self) -> dict[str, str]:
        """Of the control file, by name; further lines of a field are left out."""
        lines = self.control_files["control"][1].splitlines()
        return dict(line.split(": ", 1) for line in lines if not line.startswith(" "))

    def text(self, path: str) -> str:
        return self.files[path].decode()

    def _archive(self) -> tarfile.TarFile:
        said = _output("dpkg-deb", "--fsys-tarfile", str(self.package))
        return tarfile.open(fileobj=BytesIO(said))


def why_no_package() -> str | None:
    """Why none can be built here, in words for a test report; None when one can."""
    missing = [name for name in ("dpkg-deb", "git") if shutil.which(name) is None]
    if missing:
        return f"a Debian package cannot be built here: no {' and no '.join(missing)}"
    if not Path(INTERPRETER).exists():
        return f"a Debian package cannot be built here: no {INTERPRETER}"
    return None


def copied(folder: Path) -> Path:
    """The repository's files as they are now, and nothing that git ignores."""
    said = _output("git", "ls-files", "-z", "--cached", "--others", "--exclude-standard")
    for name in filter(None, said.decode().split("\0")):
        source, target = REPOSITORY / name, folder / name
        if source.is_file():
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(source, target)
    return folder


def build(
    folder: Path,
    *,
    umask: int = 0o022,
    surroundings: Mapping[str, str] | None = None,
    before: Sequence[str] = (),
) -> Built:
    """What `make deb` does, from the copy in ``folder``; ``before`` are words before the command.

    The interpreter that runs this knows the repository's program: the copy's has to come first.
    """
    done = subprocess.run(
        [*before, sys.executable, "systemd/deb/package.py", "deb"],
        cwd=folder,
        env={
            **os.environ,
            "SOURCE_DATE_EPOCH": str(EPOCH),
            "PYTHONPATH": str(folder / "agent"),
            **(surroundings or {}),
        },
        umask=umask,
        capture_output=True,
        text=True,
        check=False,
        timeout=BUILD_SECONDS,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    dist = folder / "dist"
    return Built(
        folder=folder,
        wheel=_only(dist, "*.whl"),
        package=_only(dist, "*.deb"),
        bill=_only(dist, "*.cdx.json"),
        licences=_only(dist, "*.licences.txt"),
    )


def newer_version() -> str:
    return f"{arraygauge.__version__}.1"


def make_newer(folder: Path) -> None:
    """A later version, which brings another configuration file as well."""
    _replace(folder / "agent/arraygauge/__init__.py", arraygauge.__version__, newer_version())
    words = "# Configuration of arraygauge."
    _replace(folder / "systemd/deb/conffile.py", words, f"{words} A later one.")


def _replace(path: Path, old: str, new: str) -> None:
    text = path.read_text()
    assert text.count(old) == 1, f"{path}: '{old}' is not in there once"
    path.write_text(text.replace(old, new))


def _only(folder: Path, pattern: str) -> Path:
    [found] = folder.glob(pattern)
    return found


def _content(archive: tarfile.TarFile, member: tarfile.TarInfo) -> bytes:
    opened = archive.extractfile(member)
    assert opened is not None
    return opened.read()


def _output(*words: str) -> bytes:
    return subprocess.run(words, cwd=REPOSITORY, check=True, capture_output=True).stdout
