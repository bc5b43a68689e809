"""Invented drives: how fast they read by wear, heat and link, as a plain model of its own.

Nothing here is taken from the model that judges: what the demo measures must not agree with it by
construction. The figures are those of no product.
"""

from __future__ import annotations

from math import cos, pi
from random import Random

from arraygauge.inventory.transport import Transport
from arraygauge.values import frozen

YEAR_DAYS = 365.0
MILD_CELSIUS = 40.0
"""At which a drive's rate is stated."""
OF_LINK = 0.86
"""What a drive gets out of a link that is slower than itself, of its signalling rate."""


@frozen
class Make:
    """A model of invented drives. ``bytes_per_second`` when new, in the middle, at 40 degrees.

    ``per_celsius`` is the share lost for each degree more, ``wear_per_year`` that lost in a year
    of use, ``stray`` the share by which one measurement differs from the next by chance, ``slope``
    the change from its first byte to its last as a share. ``warmer_celsius`` is how much it is
    above the room. ``link_bits_per_second`` of one lane, and ``lanes``.
    """

    model: str
    size_bytes: int
    rotational: bool
    transport: Transport
    bytes_per_second: float
    per_celsius: float
    wear_per_year: float
    stray: float
    slope: float | None
    warmer_celsius: float
    link_bits_per_second: int
    lanes: int


SSD_A = Make(
    model="Invented SSD A",
    size_bytes=2_000_000_000_000,
    rotational=False,
    transport=Transport.NVME,
    bytes_per_second=3.1e9,
    per_celsius=0.0012,
    wear_per_year=0.004,
    stray=0.006,
    slope=None,
    warmer_celsius=21.0,
    link_bits_per_second=8 * 10**9,
    lanes=4,
)
DISK_B = Make(
    model="Invented Disk B",
    size_bytes=8_000_000_000_000,
    rotational=True,
    transport=Transport.SATA,
    bytes_per_second=198e6,
    per_celsius=0.0,
    wear_per_year=0.002,
    stray=0.009,
    slope=-0.55,
    warmer_celsius=14.0,
    link_bits_per_second=6 * 10**9,
    lanes=1,
)
SSD_C = Make(
    model="Invented SSD C",
    size_bytes=500_000_000_000,
    rotational=False,
    transport=Transport.SATA,
    bytes_per_second=498e6,
    per_celsius=0.0004,
    wear_per_year=0.006,
    stray=0.007,
    slope=None,
    warmer_celsius=10.0,
    link_bits_per_second=6 * 10**9,
    lanes=1,
)
SSD_D = Make(
    model="Invented SSD D",
    size_bytes=2_000_000_000_000,
    rotational=False,
    transport=Transport.SATA,
    bytes_per_second=521e6,
    per_celsius=0.0006,
    wear_per_year=0.005,
    stray=0.006,
    slope=None,
    warmer_celsius=12.0,
    link_bits_per_second=6 * 10**9,
    lanes=1,
)


@frozen
class Strain:
    """What a drive suffers at a moment: ``days`` it was in use, the ``celsius`` it has, the share
    of its rate that a fault takes (``slower``), the ``lanes`` its link came to."""

    days: float
    celsius: float
    slower: float
    lanes: int


def room_celsius(day: float) -> float:
    """A room by season and time of day; day 0.0 is a midnight in winter."""
    season = -4.0 * cos(2 * pi * day / YEAR_DAYS)
    return 22.0 + season - 1.2 * cos(2 * pi * (day % 1.0))


def rate_alone(make: Make, strain: Strain) -> float:
    """Bytes per second that a drive reads by itself, chance left out."""
    worn = 1 - make.wear_per_year * strain.days / YEAR_DAYS
    warm = 1 - make.per_celsius * (strain.celsius - MILD_CELSIUS)
    own = make.bytes_per_second * worn * warm * (1 - strain.slower)
    link = make.link_bits_per_second * strain.lanes / 8 * OF_LINK
    return min(own, link)


def as_built(make: Make, serial: str) -> float:
    """A factor near 1: no two drives of a model are quite alike."""
    chance = Random(f"built {make.model} {serial}")  # noqa: S311
    return 1 + chance.uniform(-0.012, 0.012)
