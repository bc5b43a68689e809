"""The same repository gives the same bytes, wherever, by whomever and whenever it is built."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from package.building import EPOCH, Built, build, copied
from package.conftest import demand

LATER = "+400d"
SURROUNDINGS = {
    "TZ": "Pacific/Kiritimati",
    "LANG": "C",
    "LC_ALL": "C",
    "PYTHONUTF8": "0",  # with these, text is ASCII unless a program says otherwise
    "PYTHONCOERCECLOCALE": "0",
    "PYTHONHASHSEED": "7",
    "PYTHONDONTWRITEBYTECODE": "1",
}


@pytest.fixture(scope="module")
def again(built: Built, tmp_path_factory: pytest.TempPathFactory) -> Built:
    """Built at another place, more than a year later, by somebody with other habits."""
    if shutil.which("faketime") is None:
        demand("faketime is not installed: run 'bash tests/package/setup.sh' as root on Debian")
    folder = copied(tmp_path_factory.mktemp("elsewhere") / "a longer name, with blanks")
    before = ("faketime", "-f", LATER)
    return build(folder, umask=0o077, surroundings=SURROUNDINGS, before=before)


@pytest.mark.parametrize("what", ["wheel", "package", "bill", "licences"])
def test_what_is_built_elsewhere_and_later_is_the_same(
    built: Built, again: Built, what: str
) -> None:
    one: Path = getattr(built, what)
    other: Path = getattr(again, what)
    assert one.name == other.name
    assert one.read_bytes() == other.read_bytes(), differing(built, again)


def differing(one: Built, other: Built) -> str:
    """Which installed files differ, for a report."""
    names = one.files.keys() | other.files.keys()
    return f"differ: {sorted(n for n in names if one.files.get(n) != other.files.get(n))[:20]}"


def test_everything_is_dated_with_the_source(built: Built) -> None:
    assert {member.mtime for member in built.members.values()} == {EPOCH}
