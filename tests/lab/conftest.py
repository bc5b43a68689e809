"""Lab machines for tests: each description is booted once and shared by the tests that ask."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator

import pytest

from lab import Guest, LabError, Machine
from lab.host import why_unavailable

MOST_GUESTS = 2
"""Running at a time: each takes its memory and some processor time even when idle."""


class Pool:
    """The machines that are up, the one asked for last at the end."""

    def __init__(self) -> None:
        self._guests: dict[Machine, Guest] = {}

    def boot(self, machine: Machine) -> Guest:
        """The machine as described: one that is up and can be restored, or a new one."""
        guest = self._guests.pop(machine, None)
        if guest is not None and not guest.restore():
            guest.close()
            guest = None
        if guest is None:
            while len(self._guests) >= MOST_GUESTS:
                self._guests.pop(next(iter(self._guests))).close()
            guest = _booted(machine)
        self._guests[machine] = guest
        return guest

    def close(self) -> None:
        """Ends all machines."""
        for guest in self._guests.values():
            guest.close()


def _booted(machine: Machine) -> Guest:
    """Emulation now and then stands still before the guest's kernel has said a word: such a
    machine, which nothing was done to yet, is started once more."""
    try:
        return Guest(machine)
    except LabError as error:
        print(f"booted again: {error}", file=sys.stderr)
        return Guest(machine)


def demand_lab(missing: str | None, *, required: bool) -> None:
    """Skips with the reason where the lab cannot run, fails where it has to."""
    if missing is None:
        return
    if required:
        pytest.fail(f"ARRAYGAUGE_LAB_REQUIRED=1, but {missing}", pytrace=False)
    pytest.skip(missing)


@pytest.fixture(scope="package")
def boot_lab() -> Iterator[Callable[[Machine], Guest]]:
    """``boot_lab(machine)`` gives a running ``Guest``, restored if it was used before.

    Rates and arrays are as described, earlier commands are ended; files written in the
    guest stay. Machines end with this folder's tests, so that no other test meets their
    processes. A machine that lost a drive or a described array is booted anew. Only the
    two machines asked for last are kept up.
    """
    demand_lab(why_unavailable(), required=os.environ.get("ARRAYGAUGE_LAB_REQUIRED") == "1")
    pool = Pool()
    yield pool.boot
    pool.close()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Marks what boots a lab machine, for ``-m lab`` and ``-m 'not lab'``."""
    for item in items:
        if "boot_lab" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.lab)
