"""A machine of any size, made of a captured one: groups of four drives with an array over them.

The group is ``lab_levels``' four SATA drives under a raid10; names, addresses, serials and
device numbers are made different in each.
"""

from __future__ import annotations

import re
from pathlib import Path

from arraygauge.inventory.tree import Tree
from captured.archive import Entry, parse_archive
from captured.machines import FOLDER

DRIVES_A_GROUP = 4
_SERIAL = re.compile(r"\b[A-Z]{4}\d{4}\b")
_WWN = re.compile(r"\b(0x|naa\.)[0-9a-f]{8}([0-9a-f]{8})\b")
_OURS = re.compile(
    r"/0000:00:03\.0/|block/md10\b|class/block/(sd[a-d]|md10)$|udev/data/(b8:\d+|b9:10)$"
)
_MDSTAT = "Personalities : [raid10] \n"
_ARRAY = (
    "{name} : active raid10 {d}[3] {c}[2] {b}[1] {a}[0]\n"
    "      16777216 blocks super non-persistent 512K chunks 2 near-copies [4/4] [UUUU]\n      \n"
)
_COUNTERS = "12345 0 6789000 45678 2345 0 567000 6789 0 50000 52467 0 0 0 0 12 34\n"


def drive_name(number: int) -> str:
    """As the kernel names disks: sda, ..., sdz, sdaa, ..."""
    letters = ""
    number += 1
    while number:
        number, digit = divmod(number - 1, 26)
        letters = chr(97 + digit) + letters
    return f"sd{letters}"


def lay_out(groups: int, root: Path) -> Tree:
    """The machine's files below ``root``."""
    entries = list(parse_archive((FOLDER / "lab_levels.txt").read_text(encoding="ascii")))
    template = [each for each in entries if _OURS.search(f"/{each.path}")]
    for group in range(groups):
        for entry in template:
            _write(root, _changed(entry, group))
    for entry in entries:
        if entry.path.startswith("proc/sys/") or entry.path == "proc/self/mountinfo":
            _write(root, entry)
    for device in (root / "sys/class/block").iterdir():
        (device / "stat").write_text(_COUNTERS, encoding="ascii")
    arrays = "".join(_ARRAY.format(name=f"md{group}", **_letters(group)) for group in range(groups))
    (root / "proc/mdstat").write_text(f"{_MDSTAT}{arrays}unused devices: <none>\n")
    return Tree(root=root)


def _letters(group: int) -> dict[str, str]:
    first = group * DRIVES_A_GROUP
    return {letter: drive_name(first + slot) for slot, letter in enumerate("abcd")}


def _changed(entry: Entry, group: int) -> Entry:
    if entry.kind == "link":
        content = _readdressed(entry.content.decode(), group).encode()
        return Entry(path=_readdressed(entry.path, group), kind="link", content=content)
    text = entry.content.decode("utf-8", "surrogateescape")
    text = _WWN.sub(lambda found: f"{found[1]}5{group:07x}{found[2]}", text)
    text = _SERIAL.sub(lambda found: f"{found[0]}G{group}", text)
    text = re.sub(r"^(8:\d+|9:10)$", lambda found: _number(found[1], group), text, flags=re.M)
    path = re.sub(r"/b(\d+:\d+)$", lambda found: f"/b{_number(found[1], group)}", entry.path)
    return Entry(
        path=_readdressed(path, group),
        kind=entry.kind,
        content=text.encode("utf-8", "surrogateescape"),
    )


def _readdressed(text: str, group: int) -> str:
    first = group * DRIVES_A_GROUP

    def moved(found: re.Match[str]) -> str:
        return f"{found[1]}{first + int(found[2])}"

    text = re.sub(r"\b(ata)([1-4])\b", moved, text)
    text = re.sub(r"\b(host)([0-3])\b", moved, text)
    text = re.sub(r"((?:^|/)(?:target)?)([0-3])(?=:0:0)", moved, text)
    text = re.sub(r"\bsd([a-d])\b", lambda found: drive_name(first + ord(found[1]) - 97), text)
    return re.sub(r"\bmd10\b", f"md{group}", text)


def _number(text: str, group: int) -> str:
    """Of another device in each group, within what the kernel can number."""
    major, minor = map(int, text.split(":"))
    return f"9:{group}" if major == 9 else f"8:{16 * DRIVES_A_GROUP * group + minor}"


def _write(root: Path, entry: Entry) -> None:
    target = root / entry.path
    target.parent.mkdir(parents=True, exist_ok=True)
    if entry.kind == "dir":
        target.mkdir(exist_ok=True)
    elif entry.kind == "link":
        if not target.is_symlink():
            target.symlink_to(entry.content.decode())
    else:
        target.write_bytes(entry.content)
