"""/proc/self/mountinfo: what is mounted where, and on which block device.

Source: proc(5). Fields: mount id, parent id, major:minor, root, mount point,
options, optional fields, '-', filesystem, source, options of the superblock.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from arraygauge.inventory.problems import ProblemKind
from arraygauge.inventory.scalars import parse_device_number
from arraygauge.inventory.tree import Reader
from arraygauge.inventory.values import DeviceNumber, Mount

PATH = "/proc/self/mountinfo"
_ESCAPE = re.compile(r"\\([0-7]{3})")


def read_mounts(reader: Reader) -> tuple[Mount, ...]:
    """Every mount this process sees; a line that cannot be read is a problem of its own."""
    mounts = []
    for line in (reader.text(PATH, expected=True) or "").split("\n"):
        if not line.strip():
            continue
        try:
            mounts.append(parse_mount(line))
        except ValueError as error:
            reader.note(PATH, ProblemKind.MALFORMED, str(error))
    return tuple(mounts)


def parse_mount(line: str) -> Mount:
    """One line. Options are those of the mount, then those of the superblock it lacks."""
    before, separator, after = line.partition(" - ")
    fields, rest = before.split(" "), after.split(" ")
    if not separator or len(fields) < 6 or len(rest) < 2:
        raise ValueError(f"not a mountinfo line: {line[:80]!r}")
    options = [*fields[5].split(","), *(rest[2].split(",") if len(rest) > 2 else ())]
    return Mount(
        device_number=parse_device_number(fields[2]),
        mount_point=_unescape(fields[4]),
        root=_unescape(fields[3]),
        filesystem=rest[0],
        source=_unescape(rest[1]),
        options=tuple(dict.fromkeys(options)),
    )


def _unescape(text: str) -> str:
    """Blank, tab, newline, backslash and '#' come as three octal digits."""
    return _ESCAPE.sub(lambda match: chr(int(match[1], 8)), text)


class MountTable:
    """Mounts by the block device they lie on."""

    def __init__(self, mounts: Iterable[Mount]) -> None:
        self._by_number: dict[DeviceNumber, list[Mount]] = {}
        self._anonymous: dict[str, list[Mount]] = {}
        for mount in mounts:
            self._by_number.setdefault(mount.device_number, []).append(mount)
            if mount.device_number[0] == 0:
                self._anonymous.setdefault(mount.source, []).append(mount)

    def on(self, number: DeviceNumber, nodes: Iterable[str]) -> tuple[Mount, ...]:
        """The mounts on one device: by its number, or by one of its nodes as the source.

        btrfs gives its mounts an anonymous number (major 0), so the number alone would
        miss them; overlay and tmpfs have anonymous numbers and no block device at all.
        """
        found = list(self._by_number.get(number, ()))
        for node in nodes:
            found += self._anonymous.get(node, ())
        return tuple(found)
