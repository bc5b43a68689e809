"""/sys/class/block/X/stat: what the kernel counted, and reading it often without reopening."""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import fields, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.counters import CounterReader, IoCounters, parse_stat
from arraygauge.inventory.tree import Tree

DISKSTATS = (
    "259 0 nvme0n1 255999 814 12369153 47919 996852 81 36123024 425995 0 301795 580470"
    " 0 0 0 0 60602 106555"
)
STAT = "255999 814 12369153 47919 996858 81 36123056 426009 0 301809 580491 0 0 0 0 60605 106562\n"
"""The kernel document's two readings of one drive, moments apart: Documentation/block/stat.rst
and Documentation/admin-guide/iostats.rst."""

ELEVEN = "1 2 3 4 5 6 7 8 9 10 11"
COUNTS = st.integers(0, 2**64 - 1)
MILLISECONDS = st.integers(0, 2**32 - 1)


def test_the_kernel_document_s_example() -> None:
    """Six writes of 16,384 bytes in all, 2.333 ms each; the drive was busy for 14 ms."""
    earlier = parse_stat(DISKSTATS.partition("nvme0n1")[2])
    new = parse_stat(STAT).since(earlier)
    assert (new.writes, new.written_bytes, new.reads, new.read_bytes) == (6, 16_384, 0, 0)
    assert new.write_seconds / new.writes == pytest.approx(0.002333, abs=1e-6)
    assert new.busy_seconds == pytest.approx(0.014)
    assert new.weighted_seconds == pytest.approx(0.021)
    assert new.flushes == 3
    assert new.flush_seconds == pytest.approx(0.007)


def test_each_column_has_its_place_and_unit() -> None:
    """Columns as Documentation/block/stat.rst lists them; columns 2 and 6 count merges."""
    assert parse_stat(f"{ELEVEN} 12 13 14 15 16 17") == IoCounters(
        reads=1,
        read_bytes=3 * 512,
        read_seconds=0.004,
        writes=5,
        written_bytes=7 * 512,
        write_seconds=0.008,
        in_flight=9,
        busy_seconds=0.010,
        weighted_seconds=0.011,
        discards=12,
        discarded_bytes=14 * 512,
        discard_seconds=0.015,
        flushes=16,
        flush_seconds=0.017,
    )


def test_older_kernels_count_neither_discards_nor_flushes() -> None:
    """Discards came with 4.18, flushes with 5.5: Documentation/admin-guide/iostats.rst."""
    oldest, older = parse_stat(ELEVEN), parse_stat(f"{ELEVEN} 12 13 14 15")
    assert (oldest.discards, oldest.discarded_bytes, oldest.discard_seconds) == (None,) * 3
    assert (oldest.flushes, oldest.flush_seconds) == (None, None)
    assert older.discards == 12
    assert older.flushes is None
    assert older.since(oldest).discards is None


def test_columns_of_a_later_kernel_are_passed_over() -> None:
    assert parse_stat(STAT.strip() + " 1 2") == parse_stat(STAT)


@pytest.mark.parametrize(
    "text",
    ["", "1 2 3", f"{ELEVEN} 12", f"{ELEVEN} 12 13 14 15 16", f"{ELEVEN} x", f"-{ELEVEN}"],
)
def test_a_line_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="counters"):
        parse_stat(text)


@given(st.text())
def test_any_text_is_parsed_or_refused(text: str) -> None:
    with suppress(ValueError):
        parse_stat(text)


@given(st.integers(0, len(STAT)), st.text("0123456789 -_.٣\n", max_size=30))
def test_any_damage_to_a_line_is_parsed_or_refused(at: int, junk: str) -> None:
    with suppress(ValueError):
        parse_stat(STAT[:at] + junk + STAT[at + 1 :])


@given(st.lists(COUNTS, min_size=17, max_size=17))
def test_whatever_the_kernel_can_count_is_read_back(columns: list[int]) -> None:
    counters = parse_stat(" ".join(str(each).rjust(8) for each in columns))
    assert (counters.reads, counters.writes, counters.in_flight) == (
        columns[0],
        columns[4],
        columns[8],
    )
    assert counters.read_bytes == columns[2] * 512
    assert counters.flush_seconds == columns[16] / 1000


@given(before=MILLISECONDS, spent=MILLISECONDS)
def test_a_time_may_wrap_between_two_readings(before: int, spent: int) -> None:
    """The kernel prints times as 32-bit milliseconds: back at 0 after 49.7 days."""
    after = (before + spent) % 2**32
    earlier, later = (parse_stat(f"0 0 0 0 0 0 0 0 0 {time} {time}") for time in (before, after))
    assert later.since(earlier).busy_seconds == pytest.approx(spent / 1000, abs=1e-6)
    assert later.since(earlier).weighted_seconds == pytest.approx(spent / 1000, abs=1e-6)


def test_nothing_new_is_nothing_but_what_is_in_flight() -> None:
    counters = replace(parse_stat(STAT), in_flight=7)
    new = counters.since(counters)
    values = {field.name: getattr(new, field.name) for field in fields(new)}
    assert values.pop("in_flight") == 7
    assert set(values.values()) == {0}


@pytest.fixture
def tree(tmp_path: Path) -> Tree:
    """Twelve invented drives that have all counted alike."""
    for number in range(12):
        write(Tree(root=tmp_path), f"sd{'abcdefghijkl'[number]}", STAT)
    return Tree(root=tmp_path)


def write(tree: Tree, name: str, text: str) -> None:
    path = tree.root / f"sys/class/block/{name}/stat"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")


@pytest.fixture
def reader(tree: Tree) -> Iterator[CounterReader]:
    with CounterReader(("sda", "sdb"), tree) as reader:
        yield reader


def test_each_reading_shows_what_is_counted_then(tree: Tree, reader: CounterReader) -> None:
    assert reader.read() == {"sda": parse_stat(STAT), "sdb": parse_stat(STAT)}
    write(tree, "sda", ELEVEN)
    assert reader.read() == {"sda": parse_stat(ELEVEN), "sdb": parse_stat(STAT)}


def test_a_device_that_is_not_there_or_tells_rubbish_is_none(tree: Tree) -> None:
    write(tree, "sdb", "٣ rubbish")
    with CounterReader(("sda", "sdb", "sdz", "nul\0"), tree) as reader:
        assert reader.read() == {"sda": parse_stat(STAT), "sdb": None, "sdz": None, "nul\0": None}


def test_a_device_that_goes_away_is_none_and_the_others_are_read(
    tree: Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    """sysfs answers ENODEV on a file of a removed device that is still open."""
    answers: list[OSError] = [OSError(errno.ENODEV, "No such device")]
    pread = os.pread

    def answer(descriptor: int, size: int, offset: int) -> bytes:
        if answers:
            raise answers.pop()
        return pread(descriptor, size, offset)

    with CounterReader(("sda", "sdb"), tree) as reader:
        monkeypatch.setattr(os, "pread", answer)
        assert reader.read() == {"sda": None, "sdb": parse_stat(STAT)}


def test_another_disk_under_the_same_name_is_not_taken_for_the_first(
    tree: Tree, reader: CounterReader
) -> None:
    (tree.root / "sys/class/block/sda/stat").unlink()
    write(tree, "sda", ELEVEN)
    assert reader.read()["sda"] != parse_stat(ELEVEN)


def test_no_file_is_left_open(tree: Tree) -> None:
    before = os.listdir("/proc/self/fd")
    with CounterReader(("sda", "sda", "sdb", "sdz"), tree) as reader:
        assert len(os.listdir("/proc/self/fd")) == len(before) + 2
    assert len(os.listdir("/proc/self/fd")) == len(before)
    reader.close()
    assert reader.read() == {"sda": None, "sdb": None, "sdz": None}


def test_twelve_devices_are_read_within_180_microseconds(tree: Tree) -> None:
    """15 µs a device; the best of many, as the machine may be busy."""
    names = sorted(os.listdir(tree.root / "sys/class/block"))
    seconds = []
    with CounterReader(names, tree) as reader:
        for _ in range(200):
            started = time.perf_counter()
            counters = reader.read()
            seconds.append(time.perf_counter() - started)
    assert len(counters) == 12
    assert min(seconds) < 12 * 15e-6


def diskstats() -> dict[str, IoCounters]:
    text = Path("/proc/diskstats").read_text(encoding="ascii")
    lines = (line.split(None, 3) for line in text.splitlines())
    return {name: parse_stat(columns) for _, _, name, columns in lines}


def test_this_machine_s_counters_agree_with_its_diskstats() -> None:
    before = diskstats()
    with CounterReader(before) as reader:
        now = reader.read()
    after = diskstats()
    if not before:
        pytest.skip("no block device here")
    for name in before.keys() & after.keys():
        counters = now[name]
        if counters is not None:  # a device may come and go meanwhile
            assert before[name].reads <= counters.reads <= after[name].reads
            assert before[name].written_bytes <= counters.written_bytes
            assert counters.written_bytes <= after[name].written_bytes
