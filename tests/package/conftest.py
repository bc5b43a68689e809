"""Packages for the tests: each is built once."""

from __future__ import annotations

import itertools
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from lab.systemd_image import find_tree
from package.building import Built, build, copied, make_newer, why_no_package
from package.chroot import Chroot, made, why_no_chroot

HERE = Path(__file__).parent


def demand(missing: str | None) -> None:
    """Skips with the reason where something is missing; fails where all is required."""
    if missing is None:
        return
    if os.environ.get("ARRAYGAUGE_PACKAGE_REQUIRED") == "1":
        pytest.fail(f"ARRAYGAUGE_PACKAGE_REQUIRED=1, but {missing}", pytrace=False)
    pytest.skip(missing)


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    """The package of the repository as it is."""
    demand(why_no_package())
    return build(copied(tmp_path_factory.mktemp("one") / "arraygauge"))


@pytest.fixture(scope="session")
def newer(tmp_path_factory: pytest.TempPathFactory) -> Built:
    """The package of a later version, for upgrades."""
    demand(why_no_package())
    folder = copied(tmp_path_factory.mktemp("newer") / "arraygauge")
    make_newer(folder)
    return build(folder)


@pytest.fixture(scope="session")
def debian(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[], Chroot]]:
    """Makes a Debian to install in, as often as it is asked for one; all are gone at the end."""
    tree = find_tree()
    demand(why_no_chroot(tree))
    assert tree is not None
    place = tmp_path_factory.mktemp("debian")
    numbers = itertools.count()
    yield lambda: made(tree, place / str(next(numbers)))
    shutil.rmtree(place)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """One of several test processes takes them all, so that a package is built once."""
    for item in items:
        if HERE in item.path.parents:
            item.add_marker(pytest.mark.xdist_group("package"))
