"""Codecs and what a frame of each takes, each row with its source.

A codec either has one frame size for a raster (VC-3, AVC-Intra, DV, D-10, uncompressed
pictures, files of an image sequence), or a rate in bits per second that its encoder aims at
(ProRes). Paid standards were not seen themselves: ``Source`` says through what they were.
"""

from __future__ import annotations

from collections.abc import Callable
from difflib import get_close_matches
from fractions import Fraction

from arraygauge.theory.footage.rasters import Raster
from arraygauge.values import frozen


@frozen
class Source:
    """Where a figure is from. ``from_memory``: written down without the text at hand."""

    text: str
    from_memory: bool = False


@frozen
class Row:
    """What one raster takes: a frame's bytes or, where the encoder aims at a rate, bits per
    second. ``frame_rates`` it is given for; empty for any."""

    raster: Raster
    frame_rates: tuple[Fraction, ...] = ()
    frame_bytes: int | None = None
    bits_per_second: int | None = None
    note: str = ""
    source: Source

    def covers(self, raster: Raster, frames_per_second: Fraction) -> bool:
        given = not self.frame_rates or frames_per_second in self.frame_rates
        return raster == self.raster and given


@frozen
class Formula:
    """Bytes of a frame of any raster."""

    frame_bytes: Callable[[Raster], int]
    words: str
    source: Source


@frozen
class Codec:
    """``rows`` come before ``formula``, which serves the rasters that none of them is about.
    ``sequence``: each frame is a file of its own. ``target``: real files run below."""

    name: str
    rows: tuple[Row, ...] = ()
    formula: Formula | None = None
    sequence: bool = False
    target: bool = False

    @property
    def rasters(self) -> tuple[Raster, ...]:
        """Those with a row."""
        return tuple(dict.fromkeys(row.raster for row in self.rows))

    def row(self, raster: Raster, frames_per_second: Fraction) -> Row | None:
        """What is known of that raster at that rate; None where nothing is."""
        found = next((row for row in self.rows if row.covers(raster, frames_per_second)), None)
        if found is not None or self.formula is None or raster in self.rasters:
            return found
        return Row(
            raster=raster,
            frame_bytes=self.formula.frame_bytes(raster),
            note=self.formula.words,
            source=self.formula.source,
        )


def find_codec(name: str, codecs: tuple[Codec, ...]) -> Codec:
    """By its name, however it is spaced and capitalised.

    Raises ValueError naming the nearest known.
    """
    by_key = {_key(codec.name): codec for codec in codecs}
    found = by_key.get(_key(name))
    if found is not None:
        return found
    close = get_close_matches(_key(name), by_key, n=1)
    hint = f"; did you mean '{by_key[close[0]].name}'?" if close else ""
    raise ValueError(f"no codec '{name}' is known{hint}")


def _key(name: str) -> str:
    return "".join(letter for letter in name.casefold() if letter.isalnum())
