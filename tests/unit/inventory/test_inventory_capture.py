"""A capture is one text that unpacks to the same files, and holds no one's serial numbers."""

from __future__ import annotations

import string
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.host import read_host
from captured.archive import Entry, format_archive, parse_archive, unpack
from captured.capture import capture
from captured.machines import lay_out
from captured.redact import redact, stand_in

CONTENTS = st.one_of(st.binary(max_size=80), st.text(string.printable, max_size=80).map(str.encode))


@given(st.dictionaries(st.from_regex(r"[a-z]{1,5}(/[a-z:0-9.]{1,5})?", fullmatch=True), CONTENTS))
def test_an_archive_gives_back_every_byte(files: dict[str, bytes]) -> None:
    entries = [Entry(path=path, kind="file", content=each) for path, each in files.items()]
    text = format_archive(entries, ["a remark"])
    assert text.isascii()
    assert sorted(parse_archive(text), key=lambda entry: entry.path) == sorted(
        entries, key=lambda entry: entry.path
    )


def test_links_and_directories_are_laid_out(tmp_path: Path) -> None:
    text = "# remark\ndir sys/empty\nfile sys/a/size\n\t8\nlink sys/b -> a/size\n"
    unpack(text, tmp_path)
    assert (tmp_path / "sys/empty").is_dir()
    assert (tmp_path / "sys/b").is_symlink()
    assert (tmp_path / "sys/b").read_text(encoding="ascii") == "8\n"


def test_an_overlay_replaces_what_lies_there(tmp_path: Path) -> None:
    unpack("file sys/size\n\t8\nlink sys/x -> size\n", tmp_path)
    unpack("file sys/x\n\t9\n", tmp_path)
    assert (tmp_path / "sys/size").read_text(encoding="ascii") == "8\n"
    assert (tmp_path / "sys/x").read_text(encoding="ascii") == "9\n"


def test_a_line_that_is_no_entry_is_refused() -> None:
    with pytest.raises(ValueError, match="not an archive entry"):
        list(parse_archive("nonsense\n"))


def test_capturing_a_captured_machine_shows_the_same_machine(tmp_path: Path) -> None:
    tree = lay_out("lab_stacked", tmp_path / "one")
    again = tmp_path / "two"
    again.mkdir()
    unpack(capture(tree.root), again)
    one, two = read_host(tree), read_host(type(tree)(root=again))
    assert [device.link_ids for device in one.devices] == [d.link_ids for d in two.devices]
    assert [array.members for array in one.arrays] == [array.members for array in two.arrays]


def test_serials_are_replaced_wherever_they_stand_and_alike() -> None:
    before = [
        Entry(path="sys/x/serial", kind="file", content=b"SECRET0815  \n"),
        Entry(path="sys/x/wwid", kind="file", content=b"t10.ATA     A DISK    SECRET0815\n"),
        Entry(path="run/udev/data/b8:0", kind="file", content=b"E:ID_SERIAL=A_DISK_SECRET0815\n"),
        Entry(path="sys/x/device", kind="link", content=b"../SECRET0815"),
    ]
    after = {entry.path: entry.content for entry in redact(before)}
    substitute = stand_in("SECRET0815").encode()
    assert substitute != b"SECRET0815"
    assert after["sys/x/serial"] == substitute + b"  \n"
    assert after["sys/x/wwid"].endswith(substitute + b"\n")
    assert after["run/udev/data/b8:0"] == b"E:ID_SERIAL=A_DISK_" + substitute + b"\n"
    assert after["sys/x/device"] == b"../SECRET0815"  # links are places, and lead somewhere


def test_names_of_people_and_filesystems_are_replaced() -> None:
    uuid = b"1b4e28ba-2fa1-11d2-883f-0016d3cca427"
    before = [
        Entry(path="sys/x/loop/backing_file", kind="file", content=b"/home/someone/reel.raw\n"),
        Entry(path="sys/x/dm/uuid", kind="file", content=b"CRYPT-LUKS2-" + uuid + b"\n"),
        Entry(path="proc/sys/kernel/hostname", kind="file", content=b"edit-suite-7\n"),
    ]
    text = b"".join(entry.content for entry in redact(before))
    assert not any(word in text for word in (b"someone", uuid, b"edit-suite-7"))
    assert text.startswith(b"/home/")


def test_only_mounts_of_block_devices_are_kept() -> None:
    lines = b"1 2 8:1 / / rw - ext4 /dev/sda1 rw\n3 1 0:5 / /x rw - tmpfs anything rw\n"
    (entry,) = redact([Entry(path="proc/self/mountinfo", kind="file", content=lines)])
    assert entry.content == lines.splitlines(keepends=True)[0]


def test_an_ata_identity_loses_its_serial_and_keeps_its_model() -> None:
    words = ["0000"] * 256
    words[10:14] = ["5345", "4352", "4554", "2020"]
    words[27:29] = ["4d4f", "4445"]
    words[108:110] = ["5000", "c500"]
    text = " ".join(words).encode()
    path = "sys/x/ata1/link1/dev1.0/ata_device/dev1.0/id"
    (entry,) = redact([Entry(path=path, kind="file", content=text)])
    after = entry.content.decode().split()
    assert after[10:13] != words[10:13]
    assert after[13] == "2020"  # padding is no secret
    assert after[27:29] == words[27:29]
    assert after[108:110] != words[108:110]


@given(st.text(string.ascii_letters + string.digits + "-:. ", min_size=5))
def test_a_stand_in_has_the_secret_s_shape(secret: str) -> None:
    substitute = stand_in(secret)
    assert len(substitute) == len(secret)
    assert substitute == stand_in(secret)
    for before, after in zip(secret, substitute, strict=True):
        assert before.isdigit() == after.isdigit()
        assert before.isupper() == after.isupper()
