"""Rasters, frame rates and codecs as people write them: read, or explained."""

from __future__ import annotations

from contextlib import suppress
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.theory.footage import (
    CODECS,
    Raster,
    Stream,
    find_codec,
    parse_frame_rate,
    parse_raster,
    rate_text,
    stream_of,
)
from arraygauge.theory.footage.rasters import MOST_PIXELS


def stream(codec: str, raster: str, rate: str) -> Stream:
    return stream_of(find_codec(codec, CODECS), parse_raster(raster), parse_frame_rate(rate))


@pytest.mark.parametrize(
    ("text", "raster"),
    [
        ("3840x2160", Raster(3840, 2160)),
        ("3840 × 2160", Raster(3840, 2160)),
        ("UHD", Raster(3840, 2160)),
        ("uhd", Raster(3840, 2160)),
        ("2160p", Raster(3840, 2160)),
        ("1080", Raster(1920, 1080)),
        ("1080p", Raster(1920, 1080)),
        ("4K", Raster(4096, 2160)),
        ("8k", Raster(7680, 4320)),
    ],
)
def test_rasters_as_people_write_them(text: str, raster: Raster) -> None:
    assert parse_raster(text) == raster


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1080i", "50 fields a second are 25 frames"),
        ("6K", "write one like 3840x2160"),
        ("0x1080", "1 to 32768 pixels"),
        ("99999x2", "1 to 32768 pixels"),
        ("", "no picture size"),
        ("x", "no picture size"),
    ],
)
def test_what_is_no_raster_is_explained(text: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        parse_raster(text)


@pytest.mark.parametrize(
    ("text", "rate"),
    [
        ("23.976", Fraction(24000, 1001)),
        ("23.98", Fraction(24000, 1001)),
        ("23.97", Fraction(24000, 1001)),
        ("29.97", Fraction(30000, 1001)),
        ("47.95", Fraction(48000, 1001)),
        ("59.94", Fraction(60000, 1001)),
        ("119.88", Fraction(120000, 1001)),
        ("24000/1001", Fraction(24000, 1001)),
        ("24", Fraction(24)),
        ("24.0", Fraction(24)),
        ("12.5", Fraction(25, 2)),
        (" 25 ", Fraction(25)),
    ],
)
def test_frame_rates_as_people_write_them(text: str, rate: Fraction) -> None:
    assert parse_frame_rate(text) == rate


@pytest.mark.parametrize("text", ["", "25p", "0", "25/0", "1001", "-25", "1e3", "nan", "2.5/2"])
def test_what_is_no_frame_rate_is_explained(text: str) -> None:
    with pytest.raises(ValueError, match="frame rate"):
        parse_frame_rate(text)


@given(st.text())
def test_any_text_is_a_sound_raster_or_a_value_error(text: str) -> None:
    with suppress(ValueError):
        found = parse_raster(text)
        assert 1 <= min(found.width, found.height) <= max(found.width, found.height) <= MOST_PIXELS


@given(st.text())
def test_any_text_is_a_sound_frame_rate_or_a_value_error(text: str) -> None:
    with suppress(ValueError):
        assert 0 < parse_frame_rate(text) <= 1000


@given(width=st.integers(1, MOST_PIXELS), height=st.integers(1, MOST_PIXELS))
def test_a_printed_raster_reads_back(width: int, height: int) -> None:
    assert parse_raster(str(Raster(width, height))) == Raster(width, height)


@given(whole=st.sampled_from([24, 25, 30, 48, 50, 60, 100, 120]), fractional=st.booleans())
def test_a_printed_frame_rate_reads_back_exactly(whole: int, fractional: bool) -> None:
    rate = Fraction(1000 * whole, 1001) if fractional and whole % 25 else Fraction(whole)
    assert parse_frame_rate(rate_text(rate)) == rate


def test_names_are_found_however_they_are_written() -> None:
    for name in ("prores hq", "ProRes-HQ", "PRORESHQ"):
        assert find_codec(name, CODECS).name == "ProRes HQ"
    with pytest.raises(ValueError, match="did you mean 'ProRes HQ'"):
        find_codec("ProRes HQX", CODECS)
    with pytest.raises(ValueError, match=r"^no codec 'zzzz' is known$"):
        find_codec("zzzz", CODECS)


def test_what_a_codec_is_not_known_for_is_said_with_what_it_is() -> None:
    with pytest.raises(ValueError, match=r"only at 23.976, 24, 25, 29.97, 59.94"):
        stream("ProRes HQ", "UHD", "50")
    with pytest.raises(ValueError, match=r"DV25 is not known for 3840x2160, only for 720x576"):
        stream("DV25", "UHD", "25")
    with pytest.raises(ValueError, match=r"DV25 720x576 is not known at 24"):
        stream("DV25", "576", "24")
