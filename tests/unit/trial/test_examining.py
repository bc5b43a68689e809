"""What a drive holds: on loop devices, by the very process that a trial starts."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.errors import MachineTroubleError
from arraygauge.probe.children.trial_examining import BLOCK_BYTES, is_trial_block, places
from arraygauge.probe.children.trial_writing import Writer
from arraygauge.probe.stop import StopToken
from arraygauge.probe.trial.examine import examine, parse_examined
from arraygauge.probe.trial.values import MARK_PLACES, Examined, Mark, Suspect, grant
from lab.signatures import MARKS
from lab.signatures import Mark as Known
from unit.probe.loop_device import attached, require_loop_devices

MIB = 1 << 20
SIZE = 32 * MIB
OURS = Mark(seed="a trial of this machine")


@pytest.fixture
def stop() -> Iterator[StopToken]:
    token = StopToken()
    yield token
    token.close()


def looked_at(path: Path, stop: StopToken, *marks: Mark) -> Examined:
    require_loop_devices()
    with attached(path) as device:
        suspect = Suspect(device="loop", path=device.node, number=device.number)
        [found] = examine([suspect], marks, stop)
    return found


@pytest.fixture
def blank(tmp_path: Path) -> Path:
    path = tmp_path / "disk"
    with path.open("wb") as file:
        file.truncate(SIZE)
    return path


def put(path: Path, offset: int, data: bytes) -> None:
    with path.open("r+b") as file:
        file.seek(offset)
        file.write(data)


def written_by_a_trial(mark: Mark) -> bytes:
    """A transfer as the writing process makes it."""
    kept: list[bytes] = []

    class Caught(Writer):
        def __call__(self, fd: int, into: list[memoryview], offset: int) -> int:
            super().__call__(fd, into, offset)
            kept.append(bytes(into[0]))
            return len(into[0])

    import os  # noqa: PLC0415

    null = os.open("/dev/null", os.O_WRONLY)
    try:
        Caught(list(mark.places), MIB)(null, [memoryview(bytearray(MIB))], 0)
    except OSError:
        pass
    finally:
        os.close(null)
    return kept[0]


def test_a_drive_of_zeros_is_blank(blank: Path, stop: StopToken) -> None:
    found = looked_at(blank, stop)
    assert found.blank
    assert found.size_bytes == SIZE
    assert found.places > 400


def test_a_drive_of_ones_is_blank_as_erased_flash_is(blank: Path, stop: StopToken) -> None:
    blank.write_bytes(b"\xff" * SIZE)
    assert looked_at(blank, stop).blank


@pytest.mark.parametrize("known", MARKS, ids=lambda known: known.name)
def test_what_carries_a_signature_is_not_blank(blank: Path, stop: StopToken, known: Known) -> None:
    put(blank, known.where(SIZE), known.data)
    found = looked_at(blank, stop)
    assert known.name in [each.name for each in found.signatures]
    assert not found.blank


@pytest.mark.parametrize("where", [0, MIB - 1, SIZE - MIB, SIZE - 1])
def test_one_byte_in_the_first_or_last_mebibyte_is_found(
    blank: Path, stop: StopToken, where: int
) -> None:
    put(blank, where, b"x")
    assert looked_at(blank, stop).strange_at == where // BLOCK_BYTES * BLOCK_BYTES


def test_data_in_the_middle_is_found(blank: Path, stop: StopToken) -> None:
    put(blank, 17 * MIB, b"footage " * (MIB // 8))
    found = looked_at(blank, stop)
    assert found.strange_at is not None
    assert 17 * MIB <= found.strange_at < 18 * MIB


def test_what_a_known_trial_wrote_is_told_from_what_others_did(
    blank: Path, stop: StopToken
) -> None:
    put(blank, 9 * MIB, written_by_a_trial(OURS))
    assert looked_at(blank, stop, OURS).blank
    assert looked_at(blank, stop, OURS).trial_blocks > 0
    assert looked_at(blank, stop, Mark(seed="another")).strange_at is not None
    assert looked_at(blank, stop).strange_at is not None


def test_a_drive_that_another_holds_is_not_looked_at(blank: Path, stop: StopToken) -> None:
    import os  # noqa: PLC0415

    require_loop_devices()
    with attached(blank) as device:
        holder = os.open(device.node, os.O_RDONLY | os.O_EXCL)
        try:
            suspect = Suspect(device="loop", path=device.node, number=device.number)
            [found] = examine([suspect], (), stop)
        finally:
            os.close(holder)
    assert found.problem is not None
    assert "EBUSY" in found.problem


def test_without_its_library_nothing_is_said_to_be_blank() -> None:
    with pytest.raises(MachineTroubleError, match="libblkid"):
        parse_examined([], b'{"library": "libblkid.so.1: no such file", "drives": []}')


@given(st.binary(max_size=200))
def test_an_answer_that_is_none_is_trouble_and_nothing_else(answer: bytes) -> None:
    suspect = Suspect(device="sda", path="/dev/sda", number=(8, 0))
    with pytest.raises(MachineTroubleError):
        parse_examined([suspect], answer)


def times(factor: int, block: bytes) -> bytes:
    """Every byte multiplied in the field of 256 elements that raid6's Q is made in: polynomial
    x^8 + x^4 + x^3 + x^2 + 1 (H. P. Anvin, The mathematics of RAID-6)."""
    table = []
    for value in range(256):
        product, left, right = 0, value, factor
        while right:
            product ^= left if right & 1 else 0
            left = left << 1 ^ (0x11D if left & 0x80 else 0)
            right >>= 1
        table.append(product)
    return block.translate(bytes(table))


@given(st.lists(st.integers(1, 255), min_size=2, max_size=8))
def test_parity_of_a_trials_blocks_is_known_as_the_trials(factors: list[int]) -> None:
    data = written_by_a_trial(OURS)
    total = 0
    for index, factor in enumerate(factors):
        block = data[index * BLOCK_BYTES : (index + 1) * BLOCK_BYTES]
        total ^= int.from_bytes(times(factor, block), "big")
    parity = total.to_bytes(BLOCK_BYTES, "big")
    assert is_trial_block(memoryview(parity), [list(OURS.places)])


@given(st.binary(min_size=1, max_size=300), st.integers(0, BLOCK_BYTES - 300))
def test_a_block_with_little_in_it_is_not_taken_for_a_trials(data: bytes, at: int) -> None:
    block = bytes(at) + data + bytes(BLOCK_BYTES - at - len(data))
    assert not is_trial_block(memoryview(block), [list(OURS.places)])


@given(st.integers(4 * MIB, 1 << 44), st.integers(0, 2**32))
def test_both_ends_are_looked_at_whole_and_all_places_lie_on_the_drive(
    size: int, seed: int
) -> None:
    found = places(size, seed)
    assert found[0] == (0, MIB)
    last = size // BLOCK_BYTES * BLOCK_BYTES
    assert sum(found[-1]) == last
    assert all(offset % BLOCK_BYTES == 0 and length > 0 for offset, length in found)
    ends = [offset + length for offset, length in found]
    assert all(end <= start for end, (start, _) in zip(ends, found[1:], strict=False))


def test_a_mark_leaves_the_numbers_of_sectors_alone() -> None:
    assert len(OURS.places) == MARK_PLACES
    assert all(place % 512 >= 8 for place in OURS.places)


def test_leave_to_write_is_given_for_arrays_only_and_ends() -> None:
    with pytest.raises(ValueError, match="no md array"):
        grant("sda", (8, 0))
    with pytest.raises(ValueError, match="no md array"):
        grant("md0", (8, 0))
    permit = grant("md_agtrial0", (9, 512))
    assert permit.valid
    permit.revoke()
    assert not permit.valid
