"""The md/dev-X directories of an array as its Members.

Kernel document: Documentation/admin-guide/md.rst. offset counts sectors, size KiB.
"""

from __future__ import annotations

from arraygauge.inventory.block_entry import BLOCK_CLASS
from arraygauge.inventory.md_words import (
    parse_bad_blocks,
    parse_errors,
    parse_member_states,
    parse_slot,
)
from arraygauge.inventory.scalars import parse_kib, parse_sectors
from arraygauge.inventory.tree import Reader
from arraygauge.inventory.values import Member

_PREFIX = "dev-"
_LAST = 1 << 62


def read_members(reader: Reader, md: str) -> tuple[Member, ...]:
    """Every member of the array whose directory is ``md``: by slot, then those without one."""
    directories = [name for name in reader.names(md) if name.startswith(_PREFIX)]
    members = [read_member(reader, f"{md}/{each}", each[len(_PREFIX) :]) for each in directories]
    return tuple(sorted(members, key=_order))


def read_member(reader: Reader, directory: str, name: str) -> Member:
    """The member whose attributes are in ``directory``."""
    state_text = reader.text(f"{directory}/state", expected=True)
    return Member(
        name=name,
        present=_is_present(reader, directory, name),
        slot=reader.value(f"{directory}/slot", parse_slot, expected=True),
        states=parse_member_states(state_text or ""),
        state_text=state_text,
        errors=reader.value(f"{directory}/errors", parse_errors),
        data_offset_bytes=reader.value(f"{directory}/offset", parse_sectors),
        size_bytes=reader.value(f"{directory}/size", parse_kib),
        bad_block_ranges=reader.value(f"{directory}/bad_blocks", parse_bad_blocks),
    )


def _is_present(reader: Reader, directory: str, name: str) -> bool:
    """Whether the block device is still there.

    md is not told when a member is unplugged: its directory stays, and its ``block``
    link leads to a device that sysfs no longer has. The name alone proves nothing, as
    another drive may have been given it since.
    """
    link = f"{directory}/block"
    if reader.is_link(link):
        return reader.exists(link)
    return reader.exists(f"{BLOCK_CLASS}/{name}/uevent")


def _order(member: Member) -> tuple[int, str]:
    return (_LAST if member.slot is None else member.slot, member.name)
