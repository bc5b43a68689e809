"""md's sysfs texts: units, double values and words; Documentation/admin-guide/md.rst."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory import ArrayState, Level, MemberState, SyncAction
from arraygauge.inventory.md_words import (
    SyncProgress,
    parse_array_state,
    parse_bad_blocks,
    parse_bitmap_location,
    parse_errors,
    parse_level,
    parse_member_states,
    parse_new_and_old,
    parse_slot,
    parse_speed,
    parse_sync_action,
    parse_sync_completed,
)


@pytest.mark.parametrize("level", [level for level in Level if level is not Level.UNKNOWN])
def test_levels_go_by_the_kernels_names(level: Level) -> None:
    assert parse_level(f"{level.value}\n") is level


def test_an_array_not_started_may_give_its_level_as_a_number() -> None:
    assert parse_level("5") is Level.RAID5
    assert parse_level("-1") is Level.LINEAR


@pytest.mark.parametrize("text", ["", "faulty", "container", "raid7"])
def test_no_level_or_one_this_program_does_not_know(text: str) -> None:
    assert parse_level(text) is Level.UNKNOWN


def test_words_of_a_future_kernel_are_unknown_not_errors() -> None:
    assert parse_array_state("invented") is ArrayState.UNKNOWN
    assert parse_sync_action("invented") is SyncAction.UNKNOWN
    assert parse_member_states("in_sync,invented") == (MemberState.IN_SYNC, MemberState.UNKNOWN)


def test_the_new_value_is_taken_during_a_reshape() -> None:
    """The captured raid5 under reshape prints '4 (3)' disks and '131072 (65536)' bytes."""
    assert parse_new_and_old("4 (3)") == 4
    assert parse_new_and_old("131072 (65536)") == 131072
    assert parse_new_and_old("512") == 512
    assert parse_new_and_old("") is None


def test_sync_completed_counts_sectors() -> None:
    assert parse_sync_completed("24576 / 2097152") == SyncProgress(
        done_bytes=24576 * 512, total_bytes=2097152 * 512, delayed=False
    )
    assert parse_sync_completed("none").delayed is False
    assert parse_sync_completed("delayed").delayed is True


def test_speed_counts_kib_and_may_name_its_origin() -> None:
    assert parse_speed("1000 (local)") == 1000 * 1024
    assert parse_speed("200000 (system)") == 200000 * 1024
    assert parse_speed("2109") == 2109 * 1024
    assert parse_speed("none") is None


def test_slots() -> None:
    assert [parse_slot(text) for text in ("0", "11", "none", "journal")] == [0, 11, None, None]


def test_member_states_may_be_empty() -> None:
    assert parse_member_states("") == ()
    assert parse_member_states("in_sync,write_mostly\n") == (
        MemberState.IN_SYNC,
        MemberState.WRITE_MOSTLY,
    )


def test_bad_blocks_counts_ranges() -> None:
    assert parse_bad_blocks("") == 0
    assert parse_bad_blocks("100 8\n4096 16") == 2


def test_errors_may_be_negative_as_the_kernel_counts_signed() -> None:
    assert parse_errors("-1") == -1


def test_no_bitmap_is_none() -> None:
    assert parse_bitmap_location("none") is None
    assert parse_bitmap_location("+8") == "+8"


@pytest.mark.parametrize(
    "parse",
    [
        parse_new_and_old,
        parse_sync_completed,
        parse_speed,
        parse_slot,
        parse_bad_blocks,
        parse_errors,
    ],
)
@given(text=st.text())
def test_any_text_is_parsed_or_refused(parse: Callable[[str], object], text: str) -> None:
    with suppress(ValueError):
        parse(text)


@given(st.text())
def test_words_take_any_text(text: str) -> None:
    parse_level(text)
    parse_array_state(text)
    parse_sync_action(text)
    parse_member_states(text)
