"""Pictures that nothing compresses, on an interface and in files: sizes by arithmetic alone."""

from __future__ import annotations

from collections.abc import Callable

from arraygauge.theory.footage.codecs import Codec, Formula, Source
from arraygauge.theory.footage.rasters import Raster

_ARITHMETIC = Source(text="arithmetic")
_PACKED_PIXELS, _PACKED_BYTES = 48, 128
_DPX_HEADER_BYTES = 2048
_EXR_ROW_BYTES = 16


def _packed(raster: Raster) -> int:
    """Rows of whole groups of 48 pixels in 128 bytes."""
    return -(-raster.width // _PACKED_PIXELS) * _PACKED_BYTES * raster.height


def _bits(bits_per_pixel: int) -> Callable[[Raster], int]:
    """In whole bytes, as a picture of an odd width ends within one."""
    return lambda raster: -(-raster.pixels * bits_per_pixel // 8)


def _plain(name: str, bits_per_pixel: int) -> Codec:
    formula = Formula(
        frame_bytes=_bits(bits_per_pixel),
        words=f"{bits_per_pixel} bits a pixel",
        source=_ARITHMETIC,
    )
    return Codec(name=name, formula=formula)


def _dpx(bits: int, bytes_per_pixel: int) -> Codec:
    formula = Formula(
        frame_bytes=lambda raster: _DPX_HEADER_BYTES + bytes_per_pixel * raster.pixels,
        words=f"{bytes_per_pixel} bytes a pixel, and a header of {_DPX_HEADER_BYTES} bytes",
        source=Source(text="SMPTE ST 268 (DPX)", from_memory=True),
    )
    return Codec(name=f"DPX RGB {bits} bit", formula=formula, sequence=True)


def _exr(channels: str) -> Codec:
    size = 2 * len(channels)
    formula = Formula(
        frame_bytes=lambda raster: size * raster.pixels + _EXR_ROW_BYTES * raster.height,
        words=f"{size} bytes a pixel, {_EXR_ROW_BYTES} more a row, nothing compressed; "
        "a header besides",
        source=Source(text="OpenEXR file layout, scan lines of half floats", from_memory=True),
    )
    return Codec(name=f"OpenEXR half {channels}", formula=formula, sequence=True)


UNCOMPRESSED = (
    _plain("Uncompressed 4:2:2 8 bit", 16),
    _plain("Uncompressed 4:2:2 10 bit", 20),
    Codec(
        name="Packed 4:2:2 10 bit",
        formula=Formula(
            frame_bytes=_packed,
            words="rows padded to 48 pixels, which are 128 bytes",
            source=Source(text="packing of three 10-bit samples in 32 bits", from_memory=True),
        ),
    ),
    _plain("RGB 10 bit in 32", 32),
)
SEQUENCES = (
    _dpx(10, 4),
    _dpx(16, 6),
    Codec(
        name="TIFF RGB 16 bit",
        formula=Formula(
            frame_bytes=lambda raster: 6 * raster.pixels,
            words="6 bytes a pixel, nothing compressed; a header besides",
            source=_ARITHMETIC,
        ),
        sequence=True,
    ),
    _exr("RGB"),
    _exr("RGBA"),
)
