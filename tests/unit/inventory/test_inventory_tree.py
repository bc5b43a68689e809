"""What cannot be read becomes a value, with the reason if it should have been readable."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from arraygauge.inventory import ProblemKind
from arraygauge.inventory.scalars import parse_count
from arraygauge.inventory.tree import Reader, Tree


@pytest.fixture
def reader(tmp_path: Path) -> Reader:
    (tmp_path / "sys").mkdir()
    return Reader(Tree(root=tmp_path))


def write(reader: Reader, path: str, content: bytes) -> None:
    (reader.tree.root / path.lstrip("/")).write_bytes(content)


def kinds(reader: Reader) -> list[ProblemKind]:
    return [problem.kind for problem in reader.problems]


def test_text_loses_its_last_newline_only(reader: Reader) -> None:
    write(reader, "/sys/model", b"  a\n\n")
    assert reader.text("/sys/model") == "  a\n"


def test_an_absent_file_is_no_problem_unless_the_kernel_always_has_it(reader: Reader) -> None:
    assert reader.text("/sys/degraded") is None
    assert reader.problems == []
    assert reader.text("/sys/size", expected=True) is None
    assert kinds(reader) == [ProblemKind.VANISHED]
    assert reader.problems[0].path == "/sys/size"  # as on the machine, without the tree's root


def test_a_malformed_file_is_reported_with_what_it_held(reader: Reader) -> None:
    write(reader, "/sys/size", b"twelve\n")
    assert reader.value("/sys/size", parse_count) is None
    assert kinds(reader) == [ProblemKind.MALFORMED]
    assert "twelve" in reader.problems[0].detail


def test_bytes_that_are_no_text_can_still_be_printed(reader: Reader) -> None:
    write(reader, "/sys/serial", b"\xff\x00A\n")
    text = reader.text("/sys/serial")
    assert text == "\\xff\x00A"
    text.encode("utf-8")


@pytest.mark.parametrize(
    ("number", "kind"),
    [
        (errno.EACCES, ProblemKind.DENIED),
        (errno.EPERM, ProblemKind.DENIED),
        (errno.ENODEV, ProblemKind.VANISHED),
        (errno.EBUSY, ProblemKind.VANISHED),
        (errno.EIO, ProblemKind.FAILED),
    ],
)
def test_each_refusal_has_its_kind(
    reader: Reader, monkeypatch: pytest.MonkeyPatch, number: int, kind: ProblemKind
) -> None:
    def refuse(*_arguments: object) -> int:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "open", refuse)
    assert reader.text("/sys/wwid") is None
    assert kinds(reader) == [kind]


@pytest.mark.parametrize("number", [errno.EINVAL, errno.ENXIO, errno.EOPNOTSUPP, errno.ENODATA])
def test_an_attribute_the_driver_does_not_offer_is_merely_absent(
    reader: Reader, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    """SCSI's wwid, for one, answers ENXIO for a device without identification pages."""

    def refuse(*_arguments: object) -> bytes:
        raise OSError(number, os.strerror(number))

    write(reader, "/sys/wwid", b"")
    monkeypatch.setattr(os, "read", refuse)
    assert reader.text("/sys/wwid") is None
    assert reader.problems == []


def test_a_link_out_of_the_tree_is_not_followed(reader: Reader) -> None:
    (reader.tree.root / "sys/away").symlink_to("/etc")
    assert reader.resolve("/sys/away") is None
    assert kinds(reader) == [ProblemKind.MALFORMED]


def test_a_pipe_in_place_of_a_file_does_not_hang(reader: Reader) -> None:
    os.mkfifo(reader.tree.root / "sys/size")
    assert reader.text("/sys/size") == ""


def test_a_file_is_handed_out_open_or_the_reason_is_kept(reader: Reader) -> None:
    write(reader, "/sys/stat", b"1")
    descriptor = reader.descriptor("/sys/stat")
    assert descriptor is not None
    assert os.read(descriptor, 10) == b"1"
    os.close(descriptor)
    assert reader.descriptor("/sys/none") is None
    assert reader.descriptor("/sys/nul\0") is None
    assert kinds(reader) == [ProblemKind.VANISHED, ProblemKind.MALFORMED]


def test_names_come_in_order_and_an_absent_directory_has_none(reader: Reader) -> None:
    for name in ("sdb", "sda"):
        write(reader, f"/sys/{name}", b"")
    assert reader.names("/sys") == ("sda", "sdb")
    assert reader.names("/sys/none") == ()
    assert reader.problems == []


def test_a_link_to_a_removed_device_is_a_link_that_leads_nowhere(reader: Reader) -> None:
    (reader.tree.root / "sys/block").symlink_to("../devices/gone")
    assert reader.is_link("/sys/block")
    assert not reader.exists("/sys/block")
    assert reader.resolve("/sys/block") is None
