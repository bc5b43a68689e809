"""The codecs with published sizes and rates.

The sizes were read in texts that quote the standards; the numbers of the standards of AVC-Intra,
DV and D-10 are from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction

from arraygauge.theory.footage.codecs import Codec, Formula, Row, Source
from arraygauge.theory.footage.pictures import SEQUENCES, UNCOMPRESSED
from arraygauge.theory.footage.rasters import HD_720, HD_1080, SD_525, SD_625, UHD, Raster

R24, R25, R30, R60 = Fraction(24), Fraction(25), Fraction(30000, 1001), Fraction(60000, 1001)
R23 = Fraction(24000, 1001)

_VC3 = Source(text="SMPTE ST 2019-1 (VC-3), quoted")
_VC3_UNIT = 4096
_VC3_LEAST = 8192


def vc3_frame_bytes(raster: Raster, scale: int) -> int:
    """VC-3's size for any raster: its macroblocks of 16 by 16 pixels, times ``scale`` over 255,
    to the nearest 4096 bytes and no less than 8192 (SMPTE ST 2019-1, quoted)."""
    blocks = -(-raster.height // 16) * -(-raster.width // 16)
    return max(_VC3_LEAST, (blocks * scale // 255 + _VC3_UNIT // 2) // _VC3_UNIT * _VC3_UNIT)


def _vc3_of(scale: int) -> Callable[[Raster], int]:
    return lambda raster: vc3_frame_bytes(raster, scale)


def _vc3(name: str, scale: int, *fixed: tuple[int, Raster, int]) -> Codec:
    """``fixed``: a compression id of the standard, its raster and bytes a frame."""
    rows = tuple(
        Row(raster=raster, frame_bytes=size, note=f"id {number}", source=_VC3)
        for number, raster, size in fixed
    )
    words = f"resolution-independent, scale {scale} over 255"
    formula = Formula(frame_bytes=_vc3_of(scale), words=words, source=_VC3)
    return Codec(name=f"VC-3 {name}", rows=rows, formula=formula)


VC3_SCALES = {"444": 57344, "HQX": 28672, "HQ": 28672, "SQ": 18944, "LB": 5888}
_VC3_FIXED = {
    "444": ((1256, HD_1080, 1835008),),
    "HQX": ((1235, HD_1080, 917504), (1250, HD_720, 458752)),
    "HQ": ((1238, HD_1080, 917504),),
    "SQ": ((1237, HD_1080, 606208),),
    "LB": ((1253, HD_1080, 188416),),
}


def _frames(
    name: str, source: str, in_25: tuple[Raster, int], in_30: tuple[Raster, int] | None = None
) -> Codec:
    """A codec with one frame size at 25 frames and another at 29.97."""
    given = [(in_25, R25), *([(in_30, R30)] if in_30 is not None else [])]
    rows = tuple(
        Row(
            raster=raster,
            frame_rates=(rate,),
            frame_bytes=size,
            source=Source(text=f"{source}, quoted"),
        )
        for (raster, size), rate in given
    )
    return Codec(name=name, rows=rows)


_AVC = "SMPTE RP 2027 (AVC-Intra)"
_DV = "IEC 61834 and SMPTE ST 314, ST 370 (DV)"
_D10 = "SMPTE ST 356 (D-10)"
_INTRA = (
    _frames("AVC-Intra 50", _AVC, (HD_1080, 281088), (HD_1080, 232960)),
    _frames("AVC-Intra 100", _AVC, (HD_1080, 568832), (HD_1080, 472576)),
    _frames("AVC-Intra 200", _AVC, (HD_1080, 1144320), (HD_1080, 952832)),
    _frames("DV25", _DV, (SD_625, 144000), (SD_525, 120000)),
    _frames("DV50", _DV, (SD_625, 288000), (SD_525, 240000)),
    _frames("DV100", _DV, (HD_1080, 576000), (HD_1080, 480000)),
    _frames("D-10 30", _D10, (SD_625, 150000)),
    _frames("D-10 40", _D10, (SD_625, 200000)),
    _frames("D-10 50", _D10, (SD_625, 250000)),
)

_PRORES_NAMES = ("Proxy", "LT", "422", "HQ", "4444", "4444 XQ")
_PRORES_MEGABITS: dict[tuple[Raster, Fraction], tuple[int, ...]] = {
    (HD_1080, R24): (36, 82, 117, 176, 264, 396),
    (HD_1080, R25): (38, 85, 122, 184, 275, 413),
    (HD_1080, R30): (45, 102, 147, 220, 330, 500),
    (HD_1080, R60): (91, 204, 293, 440, 660, 990),
    (UHD, R24): (145, 328, 471, 707, 1061, 1591),
    (UHD, R25): (151, 342, 492, 737, 1106, 1659),
    (UHD, R30): (182, 410, 589, 884, 1326, 1989),
    (UHD, R60): (363, 821, 1178, 1768, 2652, 3977),
}
_PRORES_QUOTED = {
    *((name, HD_1080, R30) for name in _PRORES_NAMES),
    ("HQ", UHD, R24),
}
"""The other rows were written down from memory, to ± 1 %."""


def _prores(name: str, column: int) -> Codec:
    return Codec(name=f"ProRes {name}", rows=tuple(_targets(name, column)), target=True)


def _targets(name: str, column: int) -> Iterator[Row]:
    for (raster, rate), megabits in _PRORES_MEGABITS.items():
        quoted = (name, raster, rate) in _PRORES_QUOTED
        yield Row(
            raster=raster,
            # Its rates for 24 are printed for 23.976 as well.
            frame_rates=(R23, R24) if rate == R24 else (rate,),
            bits_per_second=megabits[column] * 1_000_000,
            source=Source(text="the codec's published target rates", from_memory=not quoted),
        )


CODECS: tuple[Codec, ...] = (
    *(_prores(name, column) for column, name in enumerate(_PRORES_NAMES)),
    *(_vc3(name, scale, *_VC3_FIXED[name]) for name, scale in VC3_SCALES.items()),
    *_INTRA,
    *UNCOMPRESSED,
    *SEQUENCES,
)
"""Every codec that is known, in the order it is listed."""
