"""Footage: what a stream of it needs, by published sizes and exact arithmetic."""

from arraygauge.theory.footage.codecs import Codec, Row, Source, find_codec
from arraygauge.theory.footage.needs import (
    MOST_STREAMS,
    USUAL_HEADROOM,
    Stream,
    most_streams,
    needed_bytes_per_second,
    rate_text,
    stream_at,
    stream_of,
    streams_at,
)
from arraygauge.theory.footage.rasters import (
    SERIAL_FORMATS,
    Raster,
    SerialFormat,
    parse_frame_rate,
    parse_raster,
    serial_format,
)
from arraygauge.theory.footage.table import CODECS

__all__ = [
    "CODECS",
    "MOST_STREAMS",
    "SERIAL_FORMATS",
    "USUAL_HEADROOM",
    "Codec",
    "Raster",
    "Row",
    "SerialFormat",
    "Source",
    "Stream",
    "find_codec",
    "most_streams",
    "needed_bytes_per_second",
    "parse_frame_rate",
    "parse_raster",
    "rate_text",
    "serial_format",
    "stream_at",
    "stream_of",
    "streams_at",
]
