"""The captured machines of this folder, laid out for a test.

``NAME.txt`` is the archive, ``NAME.toml`` the facts a person knows of that machine.
Names starting with ``handwritten_`` were composed from the kernel's documents for what
no machine at hand could show; all others were captured.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from arraygauge.inventory.tree import Tree
from arraygauge.inventory.udev import AskUdev
from arraygauge.inventory.values import DeviceNumber
from captured.archive import unpack

FOLDER = Path(__file__).parent
NAMES = tuple(sorted(path.stem for path in FOLDER.glob("*.txt")))


def lay_out(name: str, root: Path) -> Tree:
    """The machine's files below ``root``, ready to be read."""
    return Tree(root=unpack((FOLDER / f"{name}.txt").read_text(encoding="ascii"), root))


def read_facts(name: str) -> dict[str, Any]:
    """What a person knows is true of the machine."""
    return tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))


def captured_udev(tree: Tree) -> AskUdev:
    """Answers as the captured machine's udev would: its database lies in the archive."""

    def ask(number: DeviceNumber) -> Mapping[str, str]:
        path = tree.root / "run/udev/data/b{}:{}".format(*number)
        if not path.exists():
            return {}
        lines = path.read_text(encoding="ascii").splitlines()
        pairs = (line.removeprefix("E:").partition("=") for line in lines if line[:2] == "E:")
        return {key: value for key, _, value in pairs}

    return ask
