"""What a trial measured of an array before it was built, kept for the array that is then built.

The array has no identity at that time: md gives it one when it is made. So it is known by what
makes it what it is: level, layout, chunk and the drives it is made of. The order of the drives
is left out: who serves which slot changes no rate, and people plug as they please.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable

from pydantic import TypeAdapter

from arraygauge.history.database import History
from arraygauge.history.memory import recalled, write_remembered
from arraygauge.inventory.values import Array, Host, Level
from arraygauge.judge.past_trial import PastTrial
from arraygauge.judge.state import drive_of
from arraygauge.theory.geometry import DEFAULT_LAYOUTS
from arraygauge.values import frozen

PREFIX = "trial "
_LAID_OUT = (Level.RAID5, Level.RAID6, Level.RAID10)
"""Levels whose layout number means something."""
_UNCHUNKED = (Level.RAID1, Level.LINEAR)


@frozen
class Shape:
    """What makes an array the same as one in a trial; ``drives`` are stable ids."""

    level: Level
    layout: int | None
    chunk_bytes: int | None
    drives: tuple[str, ...]

    @property
    def key(self) -> str:
        """One word for it, equal for equal shapes whatever the order of their drives."""
        layout = DEFAULT_LAYOUTS.get(self.level) if self.layout is None else self.layout
        said = (
            str(self.level),
            layout if self.level in _LAID_OUT else None,
            None if self.level in _UNCHUNKED else self.chunk_bytes,
            sorted(self.drives),
        )
        return hashlib.sha256(json.dumps(said).encode()).hexdigest()[:32]


def shape_of(host: Host, array: Array) -> Shape | None:
    """The shape of an array that is there; None while a slot of it has no known drive."""
    drives = [
        cause.stable_id
        for member in array.members
        if member.slot is not None and (cause := drive_of(host, member.name)) is not None
    ]
    if len(drives) != (array.raid_disks or 0) or not drives:
        return None
    return Shape(
        level=array.level,
        layout=array.layout,
        chunk_bytes=array.chunk_bytes or None,
        drives=tuple(drives),
    )


def keep_trials(
    history: History, trials: Iterable[tuple[Shape, PastTrial]], now_seconds: float
) -> None:
    """Each in the place of what an earlier trial gave of the same shape. Raises HistoryError."""
    kind = TypeAdapter(PastTrial)
    with history.transaction() as connection:
        for shape, past in trials:
            text = kind.dump_json(past).decode()
            write_remembered(connection, f"{PREFIX}{shape.key}", text, now_seconds)


def trial_of(history: History, shape: Shape) -> PastTrial | None:
    """What the last trial gave of this shape. Raises HistoryError."""
    found: PastTrial | None = recalled(history, f"{PREFIX}{shape.key}", PastTrial)
    return found


def has_trials(history: History) -> bool:
    """Whether there ever was one. Raises HistoryError."""
    with history.reading() as connection:
        row = connection.execute(
            "SELECT 1 FROM remembered WHERE key >= ? AND key < ? LIMIT 1",
            (PREFIX, f"{PREFIX}\U0010ffff"),
        ).fetchone()
    return row is not None
