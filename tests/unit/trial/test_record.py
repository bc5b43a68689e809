"""The trial's record: what is kept survives a kill at any byte, and nothing else is believed."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from arraygauge.inventory.values import Level
from arraygauge.judge.past_trial import Figure
from arraygauge.judge.trialled import Trialled
from arraygauge.theory.plan import Option
from arraygauge.trial.record import Kept, Record, terms_word
from arraygauge.trial.terms import Filled, Terms
from invented import drive

DRIVES = (drive("sda"), drive("sdb"))
NAMES = ("sda", "sdb")
TERMS = terms_word(Terms(), 10**9)


def kept(level: Level, *members: str, filled: tuple[Filled, ...] = ()) -> Kept:
    return Kept(
        trialled=Trialled(
            option=Option(level=level, members=members, chunk_bytes=65536),
            read=Figure(rate=2e8, low=1.9e8, high=2.1e8),
            write=Figure(rate=1e8),
            problem=None,
            at_seconds=5.0,
            seconds=12.0,
            read_bytes=10,
            written_bytes=20,
        ),
        filled=filled,
    )


ALONE = kept(Level.RAID0, "sda", filled=(Filled(start_bytes=0, length_bytes=1 << 20),))


def a_trial(directory: Path) -> Record:
    record = Record(directory)
    record.begin(DRIVES, TERMS)
    record.keep(ALONE, NAMES)
    record.keep(kept(Level.RAID5, "sdb", "sda"), NAMES)
    return record


def test_what_was_kept_is_there_again_by_stable_ids(tmp_path: Path) -> None:
    record = a_trial(tmp_path)
    found = Record(tmp_path).unfinished(DRIVES, TERMS)
    assert found is not None
    assert [each.trialled.option.members for each in found.kept] == [
        ("invented-sda",),
        ("invented-sdb", "invented-sda"),
    ]
    assert found.kept[0].filled == ALONE.filled
    assert found.kept[0].trialled.read == ALONE.trialled.read
    assert record.marks(DRIVES) == (found.mark,)
    assert record.marks((drive("sdc"),)) == ()


def test_only_the_same_drives_on_the_same_terms_are_gone_on_with(tmp_path: Path) -> None:
    record = a_trial(tmp_path)
    assert record.unfinished(DRIVES[:1], TERMS) is None
    assert record.unfinished(DRIVES, terms_word(Terms(seconds=1.0), 10**9)) is None
    record.end()
    assert record.unfinished(DRIVES, TERMS) is None
    assert len(record.marks(DRIVES)) == 1


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.floats(0, 1))
def test_cut_off_at_any_byte_it_keeps_whole_lines_and_goes_on(tmp_path: Path, share: float) -> None:
    path = tmp_path / "trials.jsonl"
    path.unlink(missing_ok=True)
    a_trial(tmp_path)
    whole = path.read_bytes()
    first = whole.index(b"\n") + 1
    cut = first + round(share * (len(whole) - first))
    path.write_bytes(whole[:cut])
    record = Record(tmp_path)
    before = record.unfinished(DRIVES, TERMS)
    assert before is not None
    assert len(before.kept) in {whole[:cut].count(b"\n") - 1, whole[:cut].count(b"\n")}
    record.keep(ALONE, NAMES)
    after = record.unfinished(DRIVES, TERMS)
    assert after is not None
    assert after.kept[-1].trialled.option.members == ("invented-sda",)
    assert len(after.kept) == len(before.kept) + 1


@pytest.mark.parametrize(
    "line",
    [
        '{"kind": "option"}',
        '{"kind": "end"}',
        "[1, 2]",
        "null",
        '{"kind": "begin", "format": 1}',
        "\x00\x01",
    ],
)
def test_lines_that_are_none_are_passed_over(tmp_path: Path, line: str) -> None:
    (tmp_path / "trials.jsonl").write_text(line + "\n")
    assert Record(tmp_path).trials() == ()


def test_a_trial_of_another_format_keeps_its_mark_and_is_not_gone_on_with(tmp_path: Path) -> None:
    line = '{"kind": "begin", "format": 99, "mark": "m", "drives": ["invented-sda"], "x": 1}\n'
    (tmp_path / "trials.jsonl").write_text(line)
    record = Record(tmp_path)
    assert [mark.seed for mark in record.marks(DRIVES)] == ["m"]
    assert record.unfinished(DRIVES[:1], "") is None
