"""Single values as sysfs prints them."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.order import natural_key
from arraygauge.inventory.scalars import (
    parse_choice,
    parse_count,
    parse_device_number,
    parse_flag,
    parse_kib,
    parse_label,
    parse_mask,
    parse_sectors,
    parse_signed,
)


def test_numbers_and_their_units() -> None:
    assert parse_count("8\n") == 8
    assert parse_signed("-1") == -1
    assert parse_sectors("2048") == 2048 * 512
    assert parse_kib("4") == 4096
    assert parse_device_number("254:16\n") == (254, 16)


def test_a_mask_gives_the_alignment_above_it() -> None:
    """queue/dma_alignment of Documentation/ABI/stable/sysfs-block is printed as a mask."""
    assert [parse_mask(text) for text in ("511\n", "3", "0")] == [512, 4, 1]
    with pytest.raises(ValueError, match="not a mask"):
        parse_mask("512")


def test_the_chosen_word_is_the_bracketed_one() -> None:
    assert parse_choice("none [mq-deadline] bfq") == "mq-deadline"
    assert parse_choice("none") == "none"  # bio-based devices print it alone


def test_flags_are_nought_or_one() -> None:
    assert parse_flag("1\n") is True
    assert parse_flag("0") is False


def test_a_label_is_fit_for_a_terminal() -> None:
    assert parse_label("ST4000   NM0023  \x00\x1b[31m") == "ST4000 NM0023 [31m"
    assert parse_label(" \x00 ") is None


def test_device_names_sort_as_people_count() -> None:
    names = ["sdaa", "md10", "sdb", "md2", "sdz", "nvme10n1", "nvme9n1", "sda10", "sda9", "sda"]
    assert sorted(names, key=natural_key) == [
        *("md2", "md10", "nvme9n1", "nvme10n1"),
        *("sda", "sda9", "sda10", "sdb", "sdz", "sdaa"),
    ]


@pytest.mark.parametrize(
    "parse", [parse_count, parse_signed, parse_mask, parse_device_number, parse_flag, parse_choice]
)
@given(text=st.text())
def test_any_text_is_parsed_or_refused(parse: Callable[[str], object], text: str) -> None:
    with suppress(ValueError):
        parse(text)


@given(st.text(), st.text())
def test_any_two_names_can_be_ordered(one: str, other: str) -> None:
    assert sorted([one, other], key=natural_key)


@given(st.text())
def test_any_label_is_printable(text: str) -> None:
    label = parse_label(text)
    assert label is None or label.isprintable()
