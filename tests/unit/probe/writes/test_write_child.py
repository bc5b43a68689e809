"""The writing child's burst: what it writes, how it counts, what failing writes do to it."""

from __future__ import annotations

import errno
import os
import time
import zlib
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest

from arraygauge.probe.children.own_file import OwnFileError
from arraygauge.probe.children.writing import Burst

MIB = 1 << 20
TRANSFER = 64 * 1024
BLOCK = 4096

Write = Callable[[int, list[memoryview], int], int]


def burst(write: Write, depth: int = 4, seconds: float = 10.0) -> tuple[Burst, memoryview]:
    words = memoryview(bytearray(8 * (1 + 2 * depth))).cast("Q")
    asked = SimpleNamespace(transfer_bytes=TRANSFER, queue_depth=depth, longest_seconds=seconds)
    return Burst(asked, words, write), words


def written_to(path: Path, transfers: int, depth: int = 4) -> Burst:
    """A file of 4 MiB, so many transfers of 64 KiB written over it."""
    path.write_bytes(bytes(4 * MIB))
    done, _ = burst(os.pwritev, depth)
    fd = os.open(path, os.O_WRONLY)
    done.run(fd, 4 * MIB, transfers)
    done.flush(fd)
    os.close(fd)
    return done


def blocks(path: Path) -> list[bytes]:
    content = path.read_bytes()
    return [content[at : at + BLOCK] for at in range(0, len(content), BLOCK)]


def test_no_two_blocks_it_writes_are_equal_in_one_pass_or_the_next(tmp_path: Path) -> None:
    """So that nothing that deduplicates finds anything, in blocks of 512 bytes neither."""
    seen: set[bytes] = set()
    done, _ = burst(os.pwritev)
    fd = os.open(tmp_path / "file", os.O_RDWR | os.O_CREAT)

    def keeping(fd: int, buffers: list[memoryview], offset: int) -> int:
        sectors = [bytes(buffers[0][at : at + 512]) for at in range(0, TRANSFER, 512)]
        assert not seen.intersection(sectors)
        seen.update(sectors)
        return os.pwritev(fd, buffers, offset)

    done.write = keeping
    done.run(fd, 4 * MIB, 256)
    os.close(fd)
    assert done.first_error is None
    assert len(seen) == 256 * TRANSFER // 512


def test_what_it_writes_cannot_be_compressed(tmp_path: Path) -> None:
    written_to(tmp_path / "file", 64)
    content = (tmp_path / "file").read_bytes()
    for at in range(0, len(content), 128 * 1024):
        chunk = content[at : at + 128 * 1024]
        assert len(zlib.compress(chunk, 9)) >= len(chunk)


def test_it_writes_in_order_from_the_beginning_over_and_over(tmp_path: Path) -> None:
    offsets: list[int] = []

    def noting(fd: int, buffers: list[memoryview], offset: int) -> int:
        offsets.append(offset)
        return TRANSFER

    done, _ = burst(noting, depth=1)
    done.run(-1, 3 * TRANSFER + 5, 7)
    assert offsets == [each * TRANSFER for each in (0, 1, 2, 0, 1, 2, 0)]


def test_a_file_is_written_whole_and_keeps_its_size(tmp_path: Path) -> None:
    written_to(tmp_path / "file", 64)
    assert (tmp_path / "file").stat().st_size == 4 * MIB
    assert bytes(BLOCK) not in blocks(tmp_path / "file")


def test_its_counts_are_what_was_begun_and_what_was_written() -> None:
    done, words = burst(lambda *_: TRANSFER)
    done.run(-1, 4 * MIB, 100)
    assert sum(words[1::2]) == sum(words[2::2]) == 100 * TRANSFER


@pytest.mark.parametrize("number", [errno.EIO, errno.ENOSPC, errno.EDQUOT, errno.EROFS])
def test_a_failing_write_ends_all_threads_and_is_not_counted(number: int) -> None:
    def failing(fd: int, buffers: list[memoryview], offset: int) -> int:
        if offset >= 10 * TRANSFER:
            raise OSError(number, os.strerror(number))
        time.sleep(0.001)
        return TRANSFER

    done, words = burst(failing)
    done.run(-1, 4 * MIB, 1000)
    assert done.first_error is not None
    assert done.first_error[0] == number
    assert done.first_error[1] >= 10 * TRANSFER
    assert sum(words[2::2]) == 10 * TRANSFER
    assert sum(words[1::2]) <= 14 * TRANSFER


def test_a_write_that_is_cut_short_is_finished_or_its_reason_learned(tmp_path: Path) -> None:
    """The kernel writes what fits, and says why not more only when it is asked again."""
    path = tmp_path / "file"
    path.write_bytes(bytes(4 * MIB))
    fd = os.open(path, os.O_WRONLY)

    def half(fd: int, buffers: list[memoryview], offset: int) -> int:
        return os.pwritev(fd, [buffers[0][: TRANSFER // 2]], offset)

    done, words = burst(half)
    done.run(fd, 4 * MIB, 64)
    os.close(fd)
    assert done.first_error is None
    assert sum(words[2::2]) == 4 * MIB
    assert bytes(BLOCK) not in blocks(path)


def test_the_stop_word_ends_it_between_two_transfers() -> None:
    done, words = burst(lambda *_: TRANSFER, depth=1)

    def stopping(fd: int, buffers: list[memoryview], offset: int) -> int:
        words[0] = offset == 5 * TRANSFER
        return TRANSFER

    done.write = stopping
    done.run(-1, 4 * MIB, 1000)
    assert sum(words[2::2]) == 6 * TRANSFER


def test_it_begins_no_transfer_after_its_time() -> None:
    def slow(fd: int, buffers: list[memoryview], offset: int) -> int:
        time.sleep(0.01)
        return TRANSFER

    done, words = burst(slow, depth=2, seconds=0.1)
    done.run(-1, 4 * MIB, 1000)
    assert 2 * TRANSFER <= sum(words[2::2]) <= 22 * TRANSFER
    assert done.took < 0.5e9


def test_slices_add_up_to_what_was_written_while_all_were_at_work() -> None:
    """Within a twentieth of the truth: two threads, each 2 ms for 64 KiB."""

    def steady(fd: int, buffers: list[memoryview], offset: int) -> int:
        time.sleep(0.002)
        return TRANSFER

    done, _ = burst(steady, depth=2)
    done.run(-1, 4 * MIB, 200)
    slices = done.slices()
    rate = sum(size for size, _ in slices) / sum(took for _, took in slices) * 1e9
    whole = 200 * TRANSFER / done.took * 1e9
    assert rate == pytest.approx(whole, rel=0.05)
    assert 40 <= len(slices) <= 100


def test_a_flush_that_fails_is_an_error_of_its_own() -> None:
    done, _ = burst(lambda *_: TRANSFER)
    reader, writer = os.pipe()
    with pytest.raises(OwnFileError) as caught:
        done.flush(reader)
    os.close(reader)
    os.close(writer)
    assert (caught.value.step, caught.value.number) == ("flush", errno.EINVAL)
