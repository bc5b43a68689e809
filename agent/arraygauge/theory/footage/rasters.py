"""Pictures, frame rates and what a serial interface carries for them: exact arithmetic.

Frame rates are fractions: 23.976 is 24000/1001 and nothing else (SMPTE's 1000/1001 rates).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from arraygauge.values import frozen

SERIAL_BITS_PER_SAMPLE = 20
"""A 10-bit word of luminance and one of colour difference (4:2:2 at 10 bits)."""
MOST_PIXELS = 32768
"""Along either side; beyond it lies a mistake of typing."""
MOST_FRAMES_PER_SECOND = 1000


@dataclass(frozen=True, slots=True, order=True)
class Raster:
    """The active picture in pixels."""

    width: int
    height: int

    @property
    def pixels(self) -> int:
        return self.width * self.height

    def __str__(self) -> str:
        return f"{self.width}x{self.height}"


SD_525, SD_625 = Raster(720, 480), Raster(720, 576)
HD_720, HD_1080 = Raster(1280, 720), Raster(1920, 1080)
UHD, CINEMA_4K, UHD_8K = Raster(3840, 2160), Raster(4096, 2160), Raster(7680, 4320)
RASTER_NAMES = {
    "480": SD_525,
    "576": SD_625,
    "720": HD_720,
    "1080": HD_1080,
    "HD": HD_1080,
    "2K": Raster(2048, 1080),
    "2160": UHD,
    "UHD": UHD,
    "4K": CINEMA_4K,
    "8K": UHD_8K,
}
"""Short names that are accepted. 4K is the cinema's 4096 pixels, UHD television's 3840."""

_SIZE = re.compile(r"([0-9]{1,6})\s*[x×*]\s*([0-9]{1,6})")


def parse_raster(text: str) -> Raster:
    """A raster from '3840x2160', 'UHD', '1080' or '1080p'.

    Raises ValueError saying what may be written.
    """
    asked = text.strip()
    match = _SIZE.fullmatch(asked.lower())
    if match is not None:
        raster = Raster(int(match[1]), int(match[2]))
        if 0 < raster.width <= MOST_PIXELS and 0 < raster.height <= MOST_PIXELS:
            return raster
        raise ValueError(f"'{text}': each side of a picture has 1 to {MOST_PIXELS} pixels")
    named = RASTER_NAMES.get(asked.upper()) or RASTER_NAMES.get(asked.upper().removesuffix("P"))
    if named is not None:
        return named
    if RASTER_NAMES.get(asked.upper().removesuffix("I")) is not None:
        raise ValueError(
            f"'{text}': leave out the 'i'; two fields are one frame, so 50 fields a second "
            "are 25 frames"
        )
    names = ", ".join(RASTER_NAMES)
    raise ValueError(f"'{text}' is no picture size: write one like 3840x2160, or one of {names}")


_FRACTIONAL = tuple(Fraction(1000 * whole, 1001) for whole in (24, 30, 48, 60, 96, 120))
_SLIP = Fraction(3, 400)
"""How far off a written rate may be and still mean one of those: 23.97, 23.98 and 23.976 do."""
_RATE = re.compile(r"([0-9]{1,6})(?:\.([0-9]{1,9}))?(?:\s*/\s*([0-9]{1,6}))?")


def parse_frame_rate(text: str) -> Fraction:
    """Frames per second from '25', '23.976', '29.97' or '24000/1001', exactly.

    A decimal that is a rounded 1000/1001 rate means that rate. Raises ValueError saying what
    may be written.
    """
    match = _RATE.fullmatch(text.strip())
    if match is None or (match[2] and match[3]) or (match[3] and not int(match[3])):
        raise ValueError(
            f"'{text}' is no frame rate: write one like 25, 23.976, 29.97 or 24000/1001"
        )
    rate = Fraction(text.replace(" ", "")) if match[3] else Fraction(text.strip())
    if not 0 < rate <= MOST_FRAMES_PER_SECOND:
        raise ValueError(f"'{text}': a frame rate lies above 0 and up to {MOST_FRAMES_PER_SECOND}")
    if not match[2]:
        return rate
    return next((exact for exact in _FRACTIONAL if abs(exact - rate) < _SLIP), rate)


@frozen
class SerialFormat:
    """One raster on a serial interface: all samples of a line and all lines of a frame, blanking
    included."""

    raster: Raster
    frame_rates: tuple[Fraction, ...]
    line_samples: int
    lines: int

    def bits_per_second(self, frames_per_second: Fraction) -> Fraction:
        """What the interface carries, exactly."""
        words = self.line_samples * self.lines * SERIAL_BITS_PER_SAMPLE
        return words * frames_per_second


def _rates(*wholes: int) -> tuple[Fraction, ...]:
    """With the 1000/1001 rate of those that have one."""
    both = [(Fraction(1000 * each, 1001), Fraction(each)) for each in wholes if each % 25]
    return tuple(rate for pair in both for rate in pair) or tuple(map(Fraction, wholes))


def _serial(
    raster: Raster, rates: tuple[Fraction, ...], line_samples: int, lines: int
) -> SerialFormat:
    return SerialFormat(raster=raster, frame_rates=rates, line_samples=line_samples, lines=lines)


SERIAL_SOURCE = "CEA-861 totals, as in the kernel's include/uapi/linux/v4l2-dv-timings.h"
SERIAL_FORMATS = (
    _serial(SD_525, (Fraction(30000, 1001),), 858, 525),
    _serial(SD_625, (Fraction(25),), 864, 625),
    _serial(HD_720, _rates(50), 1980, 750),
    _serial(HD_720, _rates(60), 1650, 750),
    _serial(HD_1080, _rates(24), 2750, 1125),
    _serial(HD_1080, _rates(25), 2640, 1125),
    _serial(HD_1080, _rates(30), 2200, 1125),
    _serial(HD_1080, _rates(50), 2640, 1125),
    _serial(HD_1080, _rates(60), 2200, 1125),
    _serial(UHD, _rates(24), 5500, 2250),
    _serial(UHD, _rates(25), 5280, 2250),
    _serial(UHD, _rates(30), 4400, 2250),
    _serial(UHD, _rates(50), 5280, 2250),
    _serial(UHD, _rates(60), 4400, 2250),
)


def serial_format(raster: Raster, frames_per_second: Fraction) -> SerialFormat | None:
    """The interface's format for that picture and rate, where it has one."""
    return next(
        (
            each
            for each in SERIAL_FORMATS
            if each.raster == raster and frames_per_second in each.frame_rates
        ),
        None,
    )
