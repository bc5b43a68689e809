"""What footage needs: published sizes and rates to the figure that is printed, rasters to the bit.

Sources as in each test; where a text only quotes a standard, or a figure was written down from
memory, that is said beside it. Mb/s are decimal, fractional rates are 24000/1001 and so on.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.theory import Access
from arraygauge.theory.footage import (
    CODECS,
    MOST_STREAMS,
    SERIAL_FORMATS,
    Raster,
    Stream,
    find_codec,
    most_streams,
    needed_bytes_per_second,
    parse_frame_rate,
    parse_raster,
    serial_format,
    stream_at,
    stream_of,
    streams_at,
)
from arraygauge.theory.footage.rasters import MOST_PIXELS
from arraygauge.theory.footage.table import VC3_SCALES, vc3_frame_bytes

RATES = ("23.976", "25", "29.97", "50", "59.94")


def stream(codec: str, raster: str, rate: str) -> Stream:
    return stream_of(find_codec(codec, CODECS), parse_raster(raster), parse_frame_rate(rate))


def megabits(codec: str, raster: str, rate: str) -> float:
    return float(stream(codec, raster, rate).bits_per_second / 1_000_000)


@pytest.mark.parametrize(
    ("codec", "raster", "frame_bytes", "printed"),
    [
        ("VC-3 HQX", "1080", 917504, (175.985, 183.501, 219.981, 367.002, 439.962)),
        ("VC-3 HQ", "1080", 917504, (175.985, 183.501, 219.981, 367.002, 439.962)),
        ("VC-3 SQ", "1080", 606208, (116.276, 121.242, 145.345, 242.483, 290.689)),
        ("VC-3 LB", "1080", 188416, (36.140, 37.683, 45.175, 75.366, 90.349)),
        ("VC-3 444", "1080", 1835008, (351.970, 367.002, 439.962, 734.003, 879.924)),
        ("VC-3 HQX", "720", 458752, (87.992, 91.750, 109.990, 183.501, 219.981)),
    ],
)
def test_vc3_frame_sizes_and_rates(
    codec: str, raster: str, frame_bytes: int, printed: tuple[float, ...]
) -> None:
    """SMPTE ST 2019-1, as texts that quote it print them."""
    for rate, figure in zip(RATES, printed, strict=True):
        assert stream(codec, raster, rate).frame_bytes == frame_bytes
        assert round(megabits(codec, raster, rate), 3) == figure


@pytest.mark.parametrize(
    ("codec", "printed"),
    [("444", 1747.08), ("HQX", 873.05), ("HQ", 873.05), ("SQ", 577.45), ("LB", 179.72)],
)
def test_vc3_of_any_raster_at_uhd(codec: str, printed: float) -> None:
    """SMPTE ST 2019-1's formula at 3840 × 2160 and 29.97, as quoted."""
    assert round(megabits(f"VC-3 {codec}", "UHD", "29.97"), 2) == printed


@pytest.mark.parametrize(
    ("scale", "fixed"),
    [("444", 1835008), ("HQX", 917504), ("HQ", 917504), ("SQ", 606208), ("LB", 188416)],
)
def test_the_formula_gives_the_fixed_sizes_at_1080(scale: str, fixed: int) -> None:
    """SMPTE ST 2019-1, as quoted: both are its own."""
    assert vc3_frame_bytes(Raster(1920, 1080), VC3_SCALES[scale]) == fixed


@given(
    width=st.integers(1, MOST_PIXELS),
    height=st.integers(1, MOST_PIXELS),
    scale=st.sampled_from(sorted(VC3_SCALES)),
)
def test_a_vc3_frame_is_whole_units_near_its_share_and_never_shrinks_with_the_picture(
    width: int, height: int, scale: str
) -> None:
    """The formula's own words: a multiple of 4096, at least 8192, to the nearest."""
    size = vc3_frame_bytes(Raster(width, height), VC3_SCALES[scale])
    blocks = -(-width // 16) * -(-height // 16)
    exact = Fraction(blocks * VC3_SCALES[scale], 255)
    assert size % 4096 == 0
    assert size >= 8192
    assert abs(size - max(exact, Fraction(8192))) <= 2048
    assert vc3_frame_bytes(Raster(width + 1, height + 1), VC3_SCALES[scale]) >= size


@given(width=st.integers(1905, 1920), height=st.integers(1073, 1088))
def test_every_picture_of_as_many_blocks_as_1080_has_its_frame(width: int, height: int) -> None:
    """Blocks are 16 by 16 pixels: 1920 × 1080 has 120 by 68 of them."""
    for scale in VC3_SCALES.values():
        assert vc3_frame_bytes(Raster(width, height), scale) == vc3_frame_bytes(
            Raster(1920, 1080), scale
        )


@pytest.mark.parametrize(
    ("codec", "of_25", "of_30"),
    [
        ("AVC-Intra 50", ("1080", 281088, 56.218), ("1080", 232960, 55.854)),
        ("AVC-Intra 100", ("1080", 568832, 113.766), ("1080", 472576, 113.305)),
        ("AVC-Intra 200", ("1080", 1144320, 228.864), ("1080", 952832, 228.451)),
        ("DV25", ("576", 144000, 28.800), ("480", 120000, 28.771)),
        ("DV50", ("576", 288000, 57.600), ("480", 240000, 57.542)),
        ("DV100", ("1080", 576000, 115.200), ("1080", 480000, 115.085)),
    ],
)
def test_intra_and_dv_frame_sizes(
    codec: str, of_25: tuple[str, int, float], of_30: tuple[str, int, float]
) -> None:
    """AVC-Intra and DV frame sizes as texts quote them. One rate, 55.8545…, is printed cut off
    rather than rounded: a figure may be off by one in its last digit."""
    for (raster, size, printed), rate in ((of_25, "25"), (of_30, "29.97")):
        assert stream(codec, raster, rate).frame_bytes == size
        assert megabits(codec, raster, rate) == pytest.approx(printed, abs=0.001)


@pytest.mark.parametrize(("codec", "size"), [("30", 150000), ("40", 200000), ("50", 250000)])
def test_d10_is_named_after_its_rate(codec: str, size: int) -> None:
    """SMPTE ST 356, as quoted."""
    assert stream(f"D-10 {codec}", "576", "25").frame_bytes == size
    assert megabits(f"D-10 {codec}", "576", "25") == int(codec)


PRORES = ("Proxy", "LT", "422", "HQ", "4444", "4444 XQ")


def test_prores_targets_that_were_read() -> None:
    """Its published target rates: 1920 × 1080 at 29.97, and UHD HQ at 24, as quoted."""
    printed = (45, 102, 147, 220, 330, 500)
    found = tuple(megabits(f"ProRes {name}", "1080", "29.97") for name in PRORES)
    assert found == printed
    assert megabits("ProRes HQ", "UHD", "24") == 707


@pytest.mark.parametrize(
    ("raster", "rate", "remembered"),
    [
        ("1080", "24", (36, 82, 117, 176, 264, 396)),
        ("1080", "25", (38, 85, 122, 184, 275, 413)),
        ("1080", "59.94", (91, 204, 293, 440, 660, 990)),
        ("UHD", "24", (145, 328, 471, 707, 1061, 1591)),
        ("UHD", "25", (151, 342, 492, 737, 1106, 1659)),
        ("UHD", "29.97", (182, 410, 589, 884, 1326, 1989)),
        ("UHD", "59.94", (363, 821, 1178, 1768, 2652, 3977)),
    ],
)
def test_prores_targets_from_memory_say_so(
    raster: str, rate: str, remembered: tuple[int, ...]
) -> None:
    """From memory, to ± 1 %: the rows themselves have to say that."""
    for name, figure in zip(PRORES, remembered, strict=True):
        found = stream(f"ProRes {name}", raster, rate)
        assert found.bits_per_second == figure * 1_000_000
        read = (name, raster, rate) == ("HQ", "UHD", "24")
        assert found.source.from_memory is not read
        assert found.target, "real files run below"


@pytest.mark.parametrize(
    ("raster", "rate", "active", "packed", "rgb"),
    [
        ("1080", "24", 995.328, 1061.683, 1592.525),
        ("1080", "25", 1036.800, 1105.920, 1658.880),
        ("1080", "29.97", 1242.917, 1325.778, 1988.667),
        ("1080", "59.94", 2485.834, 2651.556, 3977.335),
        ("UHD", "24", 3981.312, 4246.733, 6370.099),
        ("UHD", "25", 4147.200, None, None),
        ("UHD", "29.97", 4971.668, None, None),
        ("UHD", "59.94", 9943.337, 10606.226, 15909.339),
        ("4K", "24", 4246.733, 4565.238, 6794.772),
        ("8K", "59.94", 39773.347, None, None),
    ],
)
def test_uncompressed_pictures(
    raster: str, rate: str, active: float, packed: float | None, rgb: float | None
) -> None:
    """Arithmetic done by hand: 20 bits a pixel; rows padded to 48 pixels in 128 bytes (that
    packing from memory); 32 bits a pixel."""
    assert round(megabits("Uncompressed 4:2:2 10 bit", raster, rate), 3) == active
    if packed is not None:
        assert round(megabits("Packed 4:2:2 10 bit", raster, rate), 3) == packed
    if rgb is not None:
        assert round(megabits("RGB 10 bit in 32", raster, rate), 3) == rgb


@pytest.mark.parametrize(
    ("raster", "rate", "bits"),
    [
        ("480", "29.97", 270_000_000),
        ("576", "25", 270_000_000),
        ("720", "50", 1_485_000_000),
        ("720", "60", 1_485_000_000),
        ("1080", "24", 1_485_000_000),
        ("1080", "25", 1_485_000_000),
        ("1080", "30", 1_485_000_000),
        ("1080", "50", 2_970_000_000),
        ("1080", "60", 2_970_000_000),
        ("UHD", "24", 5_940_000_000),
        ("UHD", "25", 5_940_000_000),
        ("UHD", "30", 5_940_000_000),
        ("UHD", "50", 11_880_000_000),
        ("UHD", "60", 11_880_000_000),
    ],
)
def test_serial_interfaces_to_the_bit(raster: str, rate: str, bits: int) -> None:
    """Totals of CEA-861 as in the kernel's v4l2-dv-timings.h, read; 20 bits a sample. Even the
    fractional rate of 525 lines comes out whole."""
    picture, frames = parse_raster(raster), parse_frame_rate(rate)
    found = serial_format(picture, frames)
    assert found is not None
    assert found.bits_per_second(frames) == bits


def test_fractional_rates_carry_exactly_a_thousandth_and_a_bit_less() -> None:
    for each in SERIAL_FORMATS:
        for rate in each.frame_rates:
            if rate.denominator == 1001 and each.raster.height > 576:
                whole = Fraction(round(rate * 1001), 1000)
                assert each.bits_per_second(rate) * 1001 == each.bits_per_second(whole) * 1000
    assert serial_format(Raster(1998, 1080), Fraction(24)) is None


def test_at_least_twenty_rows_each_with_its_source() -> None:
    rows = [row for codec in CODECS for row in codec.rows]
    assert len(rows) >= 20
    assert all(row.source.text for row in rows)
    assert all((row.frame_bytes is None) != (row.bits_per_second is None) for row in rows)
    names = [codec.name for codec in CODECS]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize(
    ("codec", "raster", "size"),
    [
        ("DPX RGB 10 bit", "1080", 1920 * 1080 * 4 + 2048),
        ("DPX RGB 16 bit", "UHD", 3840 * 2160 * 6 + 2048),
        ("TIFF RGB 16 bit", "4K", 4096 * 2160 * 6),
        ("OpenEXR half RGBA", "2K", 2048 * 1080 * 8 + 1080 * 16),
    ],
)
def test_a_sequence_is_read_in_whole_files(codec: str, raster: str, size: int) -> None:
    """Header and row sizes from memory. A file is read to the end of its last page."""
    found = stream(codec, raster, "24")
    assert found.frame_bytes == size
    assert found.transfer_bytes == -(-size // 4096) * 4096
    assert found.workload(3).access is Access.RANDOM
    assert found.workload(3).transfer_bytes == found.transfer_bytes


def test_long_files_are_read_in_a_players_transfers() -> None:
    """256 KiB to 4 MiB, one to eight in flight: common practice, no published source."""
    codec = find_codec("DV25", CODECS)
    found = stream_of(codec, parse_raster("576"), Fraction(25), 4 * 2**20)
    work = found.workload(12)
    assert (work.access, work.streams, work.transfer_bytes) == (Access.SEQUENTIAL, 12, 4 * 2**20)
    assert work.queue_depth == 24
    assert found.workload(1).queue_depth == 8


def test_nine_streams_of_873_megabits_fit_into_a_thousand_megabytes() -> None:
    """Arithmetic: 1000 MB/s · 8 over 873.05 Mb/s is 9.16."""
    each = stream("VC-3 HQX", "UHD", "29.97")
    assert streams_at(1000e6, each) == 9
    assert streams_at(1000e6, each, Fraction(3, 10)) == 6
    assert needed_bytes_per_second(each, 9) <= 1000e6 < needed_bytes_per_second(each, 10)


def test_headroom_is_a_share_of_the_array() -> None:
    """70 MB/s of 100 are demand at 30 % headroom: common practice, no published source."""
    each = stream_at(Fraction(560))
    assert needed_bytes_per_second(each, 1, Fraction(3, 10)) == 100_000_000
    assert streams_at(100e6, each, Fraction(3, 10)) == 1
    assert streams_at(99.999e6, each, Fraction(3, 10)) == 0


@given(rate=st.floats(0, 1e11), bits=st.integers(1, 10**10), part=st.integers(0, 9))
def test_streams_are_as_many_as_fit_and_no_more(rate: float, bits: int, part: int) -> None:
    each, headroom = stream_at(Fraction(bits, 10**6)), Fraction(part, 10)
    count = streams_at(rate, each, headroom)
    assert needed_bytes_per_second(each, count, headroom) <= rate
    assert count == MOST_STREAMS or needed_bytes_per_second(each, count + 1, headroom) > rate


@given(loss=st.integers(0, 1000), start=st.integers(0, 10**5))
def test_most_streams_is_the_last_that_the_falling_rate_carries(loss: int, start: int) -> None:
    """Against trying every number in turn."""
    each = stream_at(Fraction(8 * 100))

    def rate(count: int) -> float:
        return max(0.0, 1e6 * (start - loss * count))

    tried = [count for count in range(1, MOST_STREAMS + 1) if rate(count) >= count * 100e6]
    assert most_streams(rate, each) == max(tried, default=0)
