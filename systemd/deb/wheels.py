"""Wheels: our own, built; others', fetched against the lock's hashes; all of them unpacked."""

from __future__ import annotations

import email
import hashlib
import os
import re
import subprocess
import sys
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from email.message import Message
from pathlib import Path, PurePosixPath

from locked import Locked, normal_name


@dataclass(frozen=True, kw_only=True, slots=True)
class Wheel:
    """A wheel file and what its metadata says. ``licence_texts`` are by their path in the wheel,
    ``boms`` the paths of lists its maker put in of what was compiled into it."""

    path: Path
    name: str
    version: str
    summary: str
    licence: str
    licence_is_expression: bool
    sha256: str
    licence_texts: dict[str, str]
    boms: tuple[str, ...]

    @property
    def purl(self) -> str:
        """Its package URL, by the rules for type pypi."""
        return f"pkg:pypi/{normal_name(self.name)}@{self.version}"


def built(root: Path, into: Path, epoch: int) -> Path:
    """The agent's own wheel, the same bytes for the same ``epoch`` (seconds since 1970)."""
    done = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory", str(into)],
        cwd=root,
        env={**os.environ, "SOURCE_DATE_EPOCH": str(epoch)},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        raise SystemExit(done.stdout)
    [wheel] = into.glob("*.whl")
    return wheel


def fetched(requirements: Sequence[Locked], interpreter: str, into: Path) -> tuple[Path, ...]:
    """The locked wheels that fit ``interpreter``; pip refuses any whose hash is not locked, and
    nothing is compiled: what is in the package is what its maker published."""
    wanted = into / "requirements.txt"
    wanted.write_text("".join(f"{each.text}\n" for each in requirements))
    pip = [sys.executable, "-m", "pip", "--python", interpreter, "--disable-pip-version-check"]
    how = ["--quiet", "--no-deps", "--require-hashes", "--only-binary", ":all:"]
    subprocess.run(
        [*pip, "download", *how, "--dest", str(into), "--requirement", str(wanted)], check=True
    )
    return tuple(sorted(into.glob("*.whl")))


def examined(path: Path) -> Wheel:
    """What a wheel says of itself."""
    with zipfile.ZipFile(path) as archive:
        names = sorted(archive.namelist())
        [metadata] = [name for name in names if re.fullmatch(r"[^/]+\.dist-info/METADATA", name)]
        said = email.message_from_string(archive.read(metadata).decode())
        home = metadata.removesuffix("METADATA")
        texts = [
            name
            for given in said.get_all("License-File", [])
            for name in (f"{home}licenses/{given}", f"{home}{given}")
            if name in names
        ]
        texts = texts or [name for name in names if name == f"{home}LICENSE"]
        if not texts:
            raise SystemExit(f"{path.name}: it has no text of its licence")
        licence, is_expression = _licence(said)
        return Wheel(
            path=path,
            name=said["Name"],
            version=said["Version"],
            summary=said.get("Summary", ""),
            licence=licence,
            licence_is_expression=is_expression,
            sha256=hashlib.sha256(path.read_bytes()).hexdigest(),
            licence_texts={name: archive.read(name).decode() for name in texts},
            boms=tuple(name for name in names if name.startswith(f"{home}sboms/")),
        )


def _licence(said: Message) -> tuple[str, bool]:
    """The licence, and whether it is an SPDX expression: the field for those is younger than
    many a package, which then has a line of text or a classifier."""
    if said["License-Expression"]:
        return said["License-Expression"], True
    if said["License"] and "\n" not in said["License"]:
        return said["License"], False
    begin = "License :: OSI Approved :: "
    classifiers = [each for each in said.get_all("Classifier", []) if each.startswith(begin)]
    if not classifiers:
        raise SystemExit(f"{said['Name']}: its metadata names no licence")
    return " and ".join(each.removeprefix(begin) for each in classifiers), False


def unpack(wheel: Wheel, site_packages: Path) -> None:
    """As an installer would, but for programs of its own, which nobody here starts."""
    with zipfile.ZipFile(wheel.path) as archive:
        tops = {PurePosixPath(name).parts[0] for name in archive.namelist()}
        if any(top.endswith(".data") for top in tops):
            raise SystemExit(f"{wheel.path.name}: it has files for elsewhere, which this cannot do")
        archive.extractall(site_packages)


def compile_all(site_packages: Path, stage: Path, interpreter: str) -> None:
    """Byte code beside each module, with the paths it will have once installed. It is taken
    without a look at its source, whose date and size then need not be the same, so that each
    start is spared that look and nothing is ever written beside it."""
    how = ["-q", "--invalidation-mode", "unchecked-hash", "-s", str(stage), "-p", "/"]
    subprocess.run(
        [interpreter, "-S", "-s", "-P", "-m", "compileall", *how, str(site_packages)],
        env={"PATH": "/usr/bin:/bin", "PYTHONHASHSEED": "0"},
        check=True,
    )
