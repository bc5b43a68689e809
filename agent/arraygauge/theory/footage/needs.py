"""What one stream of footage needs, and how many of them a rate carries."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from math import floor, isfinite

from arraygauge.theory.footage.codecs import Codec, Row, Source
from arraygauge.theory.footage.rasters import Raster
from arraygauge.theory.values import Access, Direction, Workload
from arraygauge.units import KIB, MIB
from arraygauge.values import frozen

USUAL_HEADROOM = Fraction(3, 10)
"""Demand at most 70 % of what is measured: common practice, no published source."""
LEAST_TRANSFER_BYTES, MOST_TRANSFER_BYTES = 256 * KIB, 4 * MIB
"""What players read of long files at once: common practice, no published source."""
MOST_STREAMS = 256
"""More are not counted."""
LEAST_IN_FLIGHT = 8
_PAGE_BYTES = 4 * KIB


@frozen
class Stream:
    """One stream: ``name`` is what it is called, ``bits_per_second`` exact.

    ``frame_bytes`` is one frame's, on average where a codec aims at a rate; None where only a
    rate was given. ``transfer_bytes`` is what is read at once: of a sequence a whole file.
    """

    name: str
    bits_per_second: Fraction
    transfer_bytes: int
    frame_bytes: Fraction | None = None
    sequence: bool = False
    target: bool = False
    note: str = ""
    source: Source

    @property
    def bytes_per_second(self) -> Fraction:
        return self.bits_per_second / 8

    def workload(self, streams: int) -> Workload:
        """So many of it played at once. Each file of a sequence is taken to lie at an unrelated
        place. In flight are two transfers a stream, and eight at least: players read ahead by
        one to eight (common practice, no published source)."""
        return Workload(
            direction=Direction.READ,
            access=Access.RANDOM if self.sequence else Access.SEQUENTIAL,
            transfer_bytes=self.transfer_bytes,
            queue_depth=max(LEAST_IN_FLIGHT, 2 * streams),
            streams=streams,
        )


def stream_of(
    codec: Codec, raster: Raster, frames_per_second: Fraction, transfer_bytes: int = MIB
) -> Stream:
    """One stream of a codec. ``transfer_bytes`` is not used for a sequence.

    Raises ValueError naming what is known where that raster or rate is not.
    """
    row = codec.row(raster, frames_per_second)
    if row is None:
        raise ValueError(_unknown(codec, raster, frames_per_second))
    bits = _bits_per_second(row, frames_per_second)
    frame = bits / 8 / frames_per_second
    whole = -(-frame // _PAGE_BYTES) * _PAGE_BYTES
    return Stream(
        name=f"{codec.name} {raster} at {rate_text(frames_per_second)}",
        bits_per_second=bits,
        transfer_bytes=whole if codec.sequence else transfer_bytes,
        frame_bytes=frame,
        sequence=codec.sequence,
        target=codec.target,
        note=row.note,
        source=row.source,
    )


def stream_at(megabits_per_second: Fraction, transfer_bytes: int = MIB) -> Stream:
    """One stream of footage that no row is about, at a rate somebody gives."""
    return Stream(
        name=f"{float(megabits_per_second):g} Mb/s",
        bits_per_second=megabits_per_second * 1_000_000,
        transfer_bytes=transfer_bytes,
        source=Source(text="given, not published"),
    )


def needed_bytes_per_second(
    stream: Stream, streams: int, headroom: Fraction = Fraction(0)
) -> Fraction:
    """What an array must give for so many, with that share of it left free."""
    return streams * stream.bytes_per_second / (1 - headroom)


def streams_at(bytes_per_second: float, stream: Stream, headroom: Fraction = Fraction(0)) -> int:
    """How many a rate carries, whatever their number does to it."""
    if not isfinite(bytes_per_second):
        return MOST_STREAMS
    each = needed_bytes_per_second(stream, 1, headroom)
    return min(MOST_STREAMS, floor(Fraction(bytes_per_second) / each))


def most_streams(
    rate_of: Callable[[int], float], stream: Stream, headroom: Fraction = Fraction(0)
) -> int:
    """The most that are carried at once where the rate depends on their number: heads move
    between streams. ``rate_of`` gives bytes per second; up to ``MOST_STREAMS`` are tried."""

    def carried(count: int) -> bool:
        return streams_at(rate_of(count), stream, headroom) >= count

    low, high = 0, 1
    while high <= MOST_STREAMS and carried(high):
        low, high = high, high * 2
    high = min(high, MOST_STREAMS + 1)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if carried(middle) else (low, middle)
    return low


def rate_text(frames_per_second: Fraction) -> str:
    """'25', '23.976', '59.94': as such rates are written."""
    if frames_per_second.denominator == 1:
        return str(frames_per_second.numerator)
    return f"{float(frames_per_second):.3f}".rstrip("0")


def _bits_per_second(row: Row, frames_per_second: Fraction) -> Fraction:
    if row.bits_per_second is not None:
        return Fraction(row.bits_per_second)
    return (row.frame_bytes or 0) * 8 * frames_per_second


def _unknown(codec: Codec, raster: Raster, frames_per_second: Fraction) -> str:
    """What the codec is known for: that raster's rates, or else its rasters."""
    rates = [
        rate_text(rate) for row in codec.rows if row.raster == raster for rate in row.frame_rates
    ]
    if rates:
        return (
            f"{codec.name} {raster} is not known at {rate_text(frames_per_second)} frames a "
            f"second, only at {', '.join(rates)}"
        )
    sizes = ", ".join(map(str, codec.rasters))
    return f"{codec.name} is not known for {raster}, only for {sizes}"
