"""The writing child's answer: one JSON line, parsed without trusting it.

Sizes in bytes and times in nanoseconds on the wire, seconds from here on.
"""

from __future__ import annotations

import json
from enum import StrEnum

from arraygauge.inventory.values import DeviceNumber
from arraygauge.probe.reply import ReplyError
from arraygauge.probe.wire import items, pair, text, whole
from arraygauge.probe.writes.cliff import Slice
from arraygauge.values import frozen

PATH_LENGTH = 4096
_NANO = 1e-9


class WriteStep(StrEnum):
    """How far the child came, or what stood in its way."""

    PLACE = "place"
    FOLDER = "folder"
    CHECK = "check"
    THEIRS = "theirs"
    BUSY = "busy"
    ROOM = "room"
    BUDGET = "budget"
    MAKE = "make"
    SLOW = "slow"
    STOPPED = "stopped"
    WRITE = "write"
    FLUSH = "flush"
    DONE = "done"


@frozen
class Room:
    """Bytes wanted, free, and to be left free."""

    wanted: int
    free: int
    floor: int


@frozen
class WriteReply:
    """What the child says it did.

    ``number`` is an errno(3), 0 for none. ``folder`` and ``device`` are where the file lies
    or was to; ``in_place`` that it is exempt from copying on write.
    """

    step: WriteStep
    number: int
    found: str
    room: Room | None
    folder: str | None
    device: DeviceNumber | None
    name: str
    made: bool
    in_place: bool
    kept: bool
    written: int
    filled: int
    seconds: float
    flush_seconds: float
    slices: tuple[Slice, ...]


def parse_write_reply(line: bytes) -> WriteReply:
    """Raises ReplyError, and nothing else, for whatever is not a whole, coherent answer."""
    try:
        reply = _parse(json.loads(line))
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise ReplyError(f"{type(error).__name__}: {error}") from None
    if reply.filled + sum(size for size, _ in reply.slices) > reply.written:
        raise ReplyError("it counted more than it wrote")
    return reply


def _parse(said: dict[str, object]) -> WriteReply:
    return WriteReply(
        step=WriteStep(text(said["step"])),
        number=whole(said["number"]),
        found=text(said["found"], PATH_LENGTH),
        room=None if said["room"] is None else _room(said["room"]),
        folder=None if said["folder"] is None else text(said["folder"], PATH_LENGTH),
        device=None if said["device"] is None else pair(said["device"]),
        name=text(said["name"]),
        made=said["made"] is True,
        in_place=said["in_place"] is True,
        kept=said["kept"] is True,
        written=whole(said["written"]),
        filled=whole(said["filled"]),
        seconds=whole(said["nanoseconds"]) * _NANO,
        flush_seconds=whole(said["flush_nanoseconds"]) * _NANO,
        slices=tuple(pair(each) for each in items(said["slices"])),
    )


def _room(value: object) -> Room:
    wanted, free, floor = items(value)
    return Room(wanted=whole(wanted), free=whole(free), floor=whole(floor))
