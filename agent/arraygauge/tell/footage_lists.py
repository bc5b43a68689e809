"""The catalogue of codecs and pictures, as lines of words and as a document."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from string import ascii_lowercase
from typing import Any

from arraygauge.theory.footage import (
    CODECS,
    SERIAL_FORMATS,
    Codec,
    Raster,
    Row,
    Source,
    parse_frame_rate,
    rate_text,
    stream_of,
)
from arraygauge.theory.footage.rasters import HD_1080, RASTER_NAMES, SERIAL_SOURCE, UHD

FOOTAGE_FORMAT = "arraygauge.footage/1"
SHOWN_RATES = tuple(map(parse_frame_rate, ("23.976", "25", "29.97", "50", "59.94")))
"""At which every codec is shown that is known there."""
_SHOWN_RASTERS = (HD_1080, UHD)
"""For which one is shown that follows from a formula."""
Line = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CodecTable:
    """``columns`` are frames a second; ``lines`` hold codec, picture, Mb/s at each of them, and
    the sources' letters, which ``sources`` explains."""

    columns: Line
    lines: tuple[Line, ...]
    sources: tuple[str, ...]


def codec_table() -> CodecTable:
    """Every codec with a line for each picture; rates from memory are starred."""
    letters: dict[str, str] = {}
    lines = []
    for codec in CODECS:
        name = codec.name
        for raster in _shown_rasters(codec):
            rows = [codec.row(raster, rate) for rate in SHOWN_RATES]
            cells = [_cell(codec, row, rate) for row, rate in zip(rows, SHOWN_RATES, strict=True)]
            texts = dict.fromkeys(_source_text(row) for row in rows if row is not None)
            marks = [letters.setdefault(text, ascii_lowercase[len(letters)]) for text in texts]
            lines.append((name, str(raster), *cells, "".join(marks)))
            name = ""
    sources = tuple(f"{letter}  {text}" for text, letter in letters.items())
    return CodecTable(tuple(map(rate_text, SHOWN_RATES)), tuple(lines), sources)


def _shown_rasters(codec: Codec) -> tuple[Raster, ...]:
    """Those with rows, and some that a formula serves."""
    more = _SHOWN_RASTERS if codec.formula is not None else ()
    return tuple(dict.fromkeys((*codec.rasters, *more)))


def _cell(codec: Codec, row: Row | None, rate: Fraction) -> str:
    if row is None:
        return ""
    megabits = float(stream_of(codec, row.raster, rate).bits_per_second) / 1e6
    digits = 0 if codec.target else 3 if megabits < 1000 else 2 if megabits < 10000 else 1
    return f"{megabits:.{digits}f}" + ("*" if row.source.from_memory else " ")


def _source_text(row: Row) -> str:
    numbered = row.note.startswith("id ") or not row.note
    return row.source.text if numbered else f"{row.source.text}: {row.note}"


def serial_lines() -> Iterator[Line]:
    """Picture, frame rates, totals and what an interface carries."""
    for each in SERIAL_FORMATS:
        yield (
            str(each.raster),
            ", ".join(map(rate_text, each.frame_rates)),
            f"{each.line_samples} x {each.lines}",
            ", ".join(_serial(each.bits_per_second(rate)) for rate in each.frame_rates),
        )


def _serial(bits_per_second: Fraction) -> str:
    gigabits = float(bits_per_second) / 1e9
    return f"{gigabits:.4g} Gb/s" if gigabits >= 1 else f"{gigabits * 1000:.4g} Mb/s"


def notes() -> tuple[str, ...]:
    """What stands below the catalogue."""
    names = ", ".join(f"{name} is {raster}" for name, raster in RASTER_NAMES.items())
    return (
        "* from memory, without the source at hand: ProRes to 1 %.",
        "ProRes rates are its encoder's targets; real files run 5 to 10 % below.",
        "VC-3, uncompressed pictures and sequences are known for any other picture and rate too.",
        f"Serial interfaces: {SERIAL_SOURCE}; blanking included, 20 bits a sample.",
        f"Short names: {names}.",
        "Anything else: give its rate with --megabits.",
    )


def catalogue_json() -> str:
    """The document of `arraygauge footage --json` without footage: every row."""
    return json.dumps(
        {
            "format": FOOTAGE_FORMAT,
            "codecs": [_codec(codec) for codec in CODECS],
            "serial": [
                {
                    "raster": str(each.raster),
                    "frames_per_second": str(rate),
                    "line_samples": each.line_samples,
                    "lines": each.lines,
                    "bits_per_second": float(each.bits_per_second(rate)),
                    "source": SERIAL_SOURCE,
                }
                for each in SERIAL_FORMATS
                for rate in each.frame_rates
            ],
        },
        indent=2,
        allow_nan=False,
    )


def _codec(codec: Codec) -> dict[str, Any]:
    formula = codec.formula
    return {
        "name": codec.name,
        "image_sequence": codec.sequence,
        "target_rate": codec.target,
        "rows": [
            {
                "raster": str(row.raster),
                "frames_per_second": [str(rate) for rate in row.frame_rates] or None,
                "frame_bytes": row.frame_bytes,
                "bits_per_second": row.bits_per_second,
                "note": row.note,
                **_source(row.source),
            }
            for row in codec.rows
        ],
        "formula": None if formula is None else {"words": formula.words, **_source(formula.source)},
    }


def _source(source: Source) -> dict[str, Any]:
    return {"source": source.text, "source_from_memory": source.from_memory}
