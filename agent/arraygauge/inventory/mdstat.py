"""/proc/mdstat: md's own one-page summary, parsed in full.

Kernel source: md_seq_show and status_resync in drivers/md/md.c, the status functions
of each level, md_bitmap_status. Amounts are in KiB, speeds in KiB/s. The number in
``sda1[0]`` is the metadata's index of the device, not its slot. A repair prints
'resync'.
"""

from __future__ import annotations

import re
from dataclasses import replace

from arraygauge.inventory.problems import ProblemKind
from arraygauge.inventory.tree import Reader
from arraygauge.units import KIB
from arraygauge.values import frozen

PATH = "/proc/mdstat"

_HEADER = re.compile(r"(\S+) : (active|broken|inactive)((?: .*)?)")
_ACCESS = re.compile(r"\((read-only|auto-read-only)\)")
_MEMBER = re.compile(r"(\S+?)\[(\d{1,9})\]((?:\([A-Z]\))*)")
_BLOCKS = re.compile(r"\s+(\d{1,20}) blocks\b(.*)")
_SUPER = re.compile(r"super (non-persistent|external:\S+|\d+\.\d+)")
_COUNTS = re.compile(r"\[(\d{1,9})/(\d{1,9})\] \[([U_]*)\]")
_CHUNK = re.compile(r"(\d{1,9})k chunks?\b", re.IGNORECASE)
_ALGORITHM = re.compile(r"algorithm (\d{1,9})")
_PROGRESS = re.compile(
    r"\s+\[[=>.]*\]\s+(\w+) =\s*(\d{1,3}\.\d)% \((\d{1,20})/(\d{1,20})\)"
    r"(?: finish=(\d{1,9}\.\d)min)?(?: speed=(\d{1,20})K/sec)?"
)
_WAITING = re.compile(r"\s+(\w+)\s?=\s?(PENDING|DELAYED|REMOTE)")
_BITMAP = re.compile(
    r"\s+bitmap: (\d{1,9})/(\d{1,9}) pages \[\d+KB\], (\d{1,20})(KB|B) chunk(?:, file: (.*))?"
)


@frozen
class MdstatMember:
    """``sdb1[1](W)(F)``: index in the metadata and the flags' letters."""

    name: str
    index: int
    flags: str


@frozen
class MdstatProgress:
    """A running resync, recovery, reshape or check."""

    action: str
    done_bytes: int
    total_bytes: int
    finish_minutes: float | None
    bytes_per_second: int | None


@frozen
class MdstatBitmap:
    """The write-intent bitmap's pages in use and what one bit stands for."""

    used_pages: int
    total_pages: int
    chunk_bytes: int
    file: str | None


@frozen
class MdstatArray:
    """One array's lines."""

    name: str
    activity: str
    """'active', 'broken' (kernel 6.12 and newer) or 'inactive'."""
    access: str | None = None
    """'read-only', 'auto-read-only', or None for read-write."""
    level: str | None = None
    members: tuple[MdstatMember, ...] = ()
    size_bytes: int | None = None
    metadata: str | None = None
    """As md/metadata_version writes it: '1.2', 'none' for no superblock, 'external:…'."""
    chunk_bytes: int | None = None
    algorithm: int | None = None
    raid_disks: int | None = None
    working_disks: int | None = None
    health: str | None = None
    """A letter a slot: U up, _ missing."""
    progress: MdstatProgress | None = None
    waiting: str | None = None
    """'DELAYED', 'PENDING' or 'REMOTE' where a sync has been asked for and does not run here."""
    bitmap: MdstatBitmap | None = None


@frozen
class Mdstat:
    """The whole file."""

    personalities: tuple[str, ...] = ()
    arrays: tuple[MdstatArray, ...] = ()
    not_understood: tuple[str, ...] = ()
    """Lines that should describe an array and do not."""

    def array(self, name: str) -> MdstatArray | None:
        return next((array for array in self.arrays if array.name == name), None)


def read_mdstat(reader: Reader) -> Mdstat:
    """The file as it stands; empty without md. Lines not understood become problems.

    Reading it can wait for a member that hangs (md holds the array's lock while a
    bitmap write is out): call this where waiting is bounded.
    """
    mdstat = parse_mdstat(reader.text(PATH) or "")
    for line in mdstat.not_understood:
        reader.note(PATH, ProblemKind.MALFORMED, f"line not understood: {line[:80]!r}")
    return mdstat


def parse_mdstat(text: str) -> Mdstat:
    """Every array of the text. Never raises: what is not understood is returned as such."""
    arrays: list[MdstatArray] = []
    odd: list[str] = []
    personalities: tuple[str, ...] = ()
    for line in text.split("\n"):
        if not line.strip() or line.startswith("unused devices:"):
            continue
        if line.startswith("Personalities :"):
            personalities = tuple(re.findall(r"\[(\w+)\]", line))
        elif line[0] not in " \t":
            array = _parse_header(line)
            if array is None:
                odd.append(line)
            else:
                arrays.append(array)
        elif arrays:
            arrays[-1] = _with_line(arrays[-1], line)
        else:
            odd.append(line)
    return Mdstat(personalities=personalities, arrays=tuple(arrays), not_understood=tuple(odd))


def _parse_header(line: str) -> MdstatArray | None:
    """``md0 : active (auto-read-only) raid1 sdb1[1] sda1[0]``; None if it is no such line."""
    match = _HEADER.fullmatch(line)
    if match is None:
        return None
    words = match[3].partition(" super ")[0].split()  # an array without members has no other line
    access = next((found[1] for word in words if (found := _ACCESS.fullmatch(word))), None)
    members = [_MEMBER.fullmatch(word) for word in words]
    plain = [
        word
        for word, member in zip(words, members, strict=True)
        if member is None and not word.startswith("(")
    ]
    if len(plain) > 1:  # at most the level may stand without an index
        return None
    return MdstatArray(
        name=_sysfs_name(match[1]),
        activity=match[2],
        access=access,
        level=plain[0] if plain else None,
        members=tuple(_member(member) for member in members if member is not None),
    )


def _member(match: re.Match[str]) -> MdstatMember:
    flags = "".join(re.findall(r"\(([A-Z])\)", match[3]))
    return MdstatMember(name=_sysfs_name(match[1]), index=int(match[2]), flags=flags)


def _sysfs_name(name: str) -> str:
    """The name as /sys spells it, which writes '/' as '!'."""
    return name.replace("/", "!")


def _with_line(array: MdstatArray, line: str) -> MdstatArray:
    """The array with one further line told; a line of an unknown kind changes nothing."""
    if match := _BLOCKS.match(line):
        return _with_blocks(array, int(match[1]), match[2])
    if match := _PROGRESS.match(line):
        return replace(array, progress=_progress(match))
    if match := _WAITING.match(line):
        return replace(array, waiting=match[2])
    if match := _BITMAP.match(line):
        return replace(array, bitmap=_bitmap(match))
    return array


def _with_blocks(array: MdstatArray, blocks: int, rest: str) -> MdstatArray:
    """The line of the array's size, metadata, chunk and slots."""
    counts = _COUNTS.search(rest)
    chunk = _CHUNK.search(rest)
    algorithm = _ALGORITHM.search(rest)
    return replace(
        array,
        size_bytes=blocks * KIB,
        metadata=_metadata(rest),
        chunk_bytes=int(chunk[1]) * KIB if chunk else None,
        algorithm=int(algorithm[1]) if algorithm else None,
        raid_disks=int(counts[1]) if counts else None,
        working_disks=int(counts[2]) if counts else None,
        health=counts[3] if counts else None,
    )


def _metadata(rest: str) -> str:
    """Nothing is printed for format 0.90, 'non-persistent' for none."""
    match = _SUPER.search(rest)
    if match is None:
        return "0.90"
    return "none" if match[1] == "non-persistent" else match[1]


def _progress(match: re.Match[str]) -> MdstatProgress:
    return MdstatProgress(
        action=match[1],
        done_bytes=int(match[3]) * KIB,
        total_bytes=int(match[4]) * KIB,
        finish_minutes=float(match[5]) if match[5] else None,
        bytes_per_second=int(match[6]) * KIB if match[6] else None,
    )


def _bitmap(match: re.Match[str]) -> MdstatBitmap:
    return MdstatBitmap(
        used_pages=int(match[1]),
        total_pages=int(match[2]),
        chunk_bytes=int(match[3]) * (KIB if match[4] == "KB" else 1),
        file=match[5],
    )
