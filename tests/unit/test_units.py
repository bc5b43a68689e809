"""Units as people write and read them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.units import (
    format_binary,
    format_capacity,
    format_duration,
    format_rate,
    parse_bytes,
)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("512", 512),
        ("64 KiB", 65536),
        ("1MiB", 1048576),
        ("1.5 GB", 1_500_000_000),
        ("2 TB", 2 * 10**12),
    ],
)
def test_sizes_are_parsed(text: str, size: int) -> None:
    assert parse_bytes(text) == size


@pytest.mark.parametrize("text", ["", "KiB", "5 kib", "-1 MB", "1e3", "nan", "5 Mb"])
def test_what_is_not_a_size_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not a size"):
        parse_bytes(text)


@given(st.text())
def test_no_text_breaks_the_parser(text: str) -> None:
    try:
        assert parse_bytes(text) >= 0
    except ValueError as error:
        assert "is not a size" in str(error)  # noqa: PT017 - either outcome is right


def test_rates_are_decimal_megabytes() -> None:
    assert [format_rate(r) for r in (5e3, 5e6, 99.94e6, 1.64e9)] == [
        "0.005 MB/s",
        "5.0 MB/s",
        "99.9 MB/s",
        "1640 MB/s",
    ]


def test_chunks_are_binary_and_capacities_decimal() -> None:
    assert [format_binary(s) for s in (512, 65536, 2.5 * 2**20)] == ["512 B", "64 KiB", "2.5 MiB"]
    assert [format_capacity(s) for s in (10**6, 4 * 10**12)] == ["1 MB", "4 TB"]


def test_durations_use_the_units_that_matter() -> None:
    assert [format_duration(s) for s in (0.85, 12, 3600 * 5.4, 86400 * 181)] == [
        "850 ms",
        "12.0 s",
        "5 h 24 min",
        "181 d 0 h",
    ]
