"""What the lock files say: which packages the agent needs, in which version, by whose need."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

_REQUIREMENT = re.compile(r"([A-Za-z0-9][A-Za-z0-9._-]*)(?:\[[^]]*\])?\s*(?:[=<>!~;@].*)?")
_HASH = re.compile(r"--hash=sha256:([0-9a-f]{64})")


@dataclass(frozen=True, kw_only=True, slots=True)
class Locked:
    """One requirement of a lock file: ``text`` as pip reads it, hashes and marker included."""

    name: str
    text: str
    hashes: frozenset[str]
    needed_by: frozenset[str]

    @property
    def is_direct(self) -> bool:
        """Whether the project itself asks for it, be it that others need it as well: the lock
        has 'via arraygauge (pyproject.toml)' for that."""
        return any(user.startswith("arraygauge ") for user in self.needed_by)


def normal_name(name: str) -> str:
    """The form in which names of packages are compared (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def parse_lock(text: str) -> tuple[Locked, ...]:
    """The requirements of a lock file, in its order."""
    blocks: list[list[str]] = []
    for line in text.splitlines():
        if line and not line.startswith((" ", "#")):
            blocks.append([line])
        elif line.startswith(" ") and blocks:
            blocks[-1].append(line)
    return tuple(_locked(block) for block in blocks)


def _locked(block: list[str]) -> Locked:
    said = [line for line in block if not line.lstrip().startswith("#")]
    remarks = [line.strip().lstrip("# ").removeprefix("via").strip() for line in block[len(said) :]]
    text = "\n".join(said)
    return Locked(
        name=named(block[0]),
        text=text,
        hashes=frozenset(_HASH.findall(text)),
        needed_by=frozenset(normal_name(each) for each in remarks if each),
    )


def named(requirement: str) -> str:
    """The package that a requirement is about: 'click>=8.1,<9' is about click."""
    found = _REQUIREMENT.fullmatch(requirement.rstrip(" \\"))
    if found is None:
        raise SystemExit(f"not a requirement that names a package: {requirement}")
    return normal_name(found[1])


def needed(locked: Iterable[Locked], roots: Iterable[str]) -> tuple[Locked, ...]:
    """Those of ``locked`` that ``roots`` name or need, directly or through others."""
    offered, names = tuple(locked), set(roots)
    missing = names - {each.name for each in offered}
    if missing:
        raise SystemExit(f"not locked: {', '.join(sorted(missing))}; run 'make lock'")
    while True:
        more = {each.name for each in offered if each.needed_by & names} - names
        if not more:
            return tuple(each for each in offered if each.name in names)
        names |= more


def packaged(root: Path) -> tuple[Locked, ...]:
    """What the package brings: the core's requirements, and those of the extra 'desktop', as the
    package has the unit of the companion, which cannot work without it."""
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    core = needed(
        parse_lock((root / "requirements.lock").read_text(encoding="utf-8")),
        map(named, project["dependencies"]),
    )
    have = {each.name for each in core}
    desktop = needed(
        parse_lock((root / "requirements-dev.lock").read_text(encoding="utf-8")),
        map(named, project["optional-dependencies"]["desktop"]),
    )
    return (*core, *(each for each in desktop if each.name not in have))
