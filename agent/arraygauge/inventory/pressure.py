"""I/O pressure: how long tasks of the whole machine have waited for I/O.

Kernel document: Documentation/accounting/psi.rst. ``total`` counts microseconds since
boot; its averages over 10 s and more are too slow to see a burst begin.
"""

from __future__ import annotations

import re

from arraygauge.inventory.tree import Reader, Tree
from arraygauge.values import frozen

_IO_PRESSURE = "/proc/pressure/io"
_LINE = re.compile(r"(some|full) (?:\S+ )*?total=([0-9]{1,20})(?: .*)?", re.ASCII)


@frozen
class Pressure:
    """Seconds since boot during which tasks waited: some of them, or all at once.

    Waits for this program's own direct reads count as well.
    """

    some_seconds: float
    full_seconds: float | None
    """None where the kernel tells only of some."""


def parse_pressure(text: str) -> Pressure:
    """The totals of a pressure file. Raises ValueError if it has no total of ``some``."""
    matches = (_LINE.fullmatch(line) for line in text.splitlines())
    totals = {match[1]: int(match[2]) / 10**6 for match in matches if match}
    if "some" not in totals:
        raise ValueError(f"no total of tasks that waited: {text[:60]!r}")
    return Pressure(some_seconds=totals["some"], full_seconds=totals.get("full"))


def read_io_pressure(tree: Tree | None = None) -> Pressure | None:
    """The machine's I/O pressure now; None where the kernel was built or booted without."""
    return Reader(tree or Tree()).value(_IO_PRESSURE, parse_pressure)
