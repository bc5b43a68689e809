"""The process that writes opens md devices and nothing else."""

from __future__ import annotations

import os
from pathlib import Path
from types import SimpleNamespace

import pytest

from arraygauge.probe.children.reading import Burst, ProbeError, report
from arraygauge.probe.children.trial_examining import is_trial_block
from arraygauge.probe.children.trial_writing import Writer, open_array, written
from arraygauge.probe.trial.values import Mark
from unit.probe.loop_device import attached, random_file, require_loop_devices

MIB = 1 << 20


def asked(path: str, number: tuple[int, int]) -> SimpleNamespace:
    return SimpleNamespace(path=path, number=list(number), extents=[(0, MIB)])


def test_a_drive_is_not_opened_for_writing_whatever_is_asked(tmp_path: Path) -> None:
    require_loop_devices()
    backing = random_file(tmp_path / "disk", 2)
    before = backing.read_bytes()
    with attached(backing) as device:
        for number in (device.number, (9, 0)):
            with pytest.raises(ProbeError) as told:
                open_array(asked(device.node, number))
            assert told.value.step == "check"
    assert backing.read_bytes() == before


def test_a_file_or_a_link_is_not_opened_for_writing(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_bytes(b"kept")
    link = tmp_path / "link"
    link.symlink_to("/dev/null")
    for path in (file, link):
        with pytest.raises(ProbeError):
            open_array(asked(str(path), (9, 0)))
    assert file.read_bytes() == b"kept"


def test_no_two_sectors_are_alike_and_every_mark_is_zero(tmp_path: Path) -> None:
    mark = Mark(seed="unit")
    target = tmp_path / "written"
    writer, size = Writer(list(mark.places), MIB), MIB
    buffer = [memoryview(bytearray(size))]
    with target.open("wb") as file:
        for turn in range(4):
            writer(file.fileno(), buffer, turn * size)
    data = target.read_bytes()
    sectors = [data[at : at + 512] for at in range(0, len(data), 512)]
    assert len(set(sectors)) == len(sectors)
    blocks = [data[at : at + 4096] for at in range(0, len(data), 4096)]
    assert not any(block[place] for block in blocks for place in mark.places)


def test_places_are_written_in_order_without_a_gap_and_said_to_be(tmp_path: Path) -> None:
    """The loop of the reading process with this writer in it, on a plain file."""
    size, transfer = 64 * MIB, 128 * 1024
    path = tmp_path / "array"
    path.write_bytes(bytes(size))
    request = SimpleNamespace(
        transfer_bytes=transfer,
        queue_depth=4,
        streams=1,
        random=False,
        seed=1,
        extents=[(0, 16 * MIB), (32 * MIB, 16 * MIB)],
        warm_up_seconds=0.02,
        settle_seconds=0.01,
        place_seconds=0.05,
        longest_seconds=2.0,
        in_flight_seconds=None,
        meeting=None,
        max_bytes=32 * MIB,
        path=str(path),
    )
    words = memoryview(bytearray(8 * 9)).cast("Q")
    mark = Mark(seed="unit")
    burst = Burst(request, Writer(list(mark.places), transfer), words)
    fd = os.open(path, os.O_RDWR | os.O_DIRECT)
    try:
        burst.run(fd)
    finally:
        os.close(fd)
    said = written(burst)
    assert burst.failure is None
    assert [start for start, _ in said] == [0, 32 * MIB]
    data = path.read_bytes()
    for start, length in said:
        assert length > 0
        filled = data[start : start + length]
        blocks = [filled[at : at + 4096] for at in range(0, length, 4096)]
        assert all(is_trial_block(memoryview(block), [list(mark.places)]) for block in blocks)
    reply = report(burst, None, 1)
    assert all(taken > 0 and took > 0 for _, taken, took, _ in reply["places"])  # type: ignore[attr-defined]
    assert sum(length for _, length in said) <= sum(words[2::2])
