"""Where the demo's history lies: by itself, and never where a real one does."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from arraygauge.errors import OperatorError
from arraygauge.history import History, open_history
from arraygauge.service.purse import HISTORY_NAME

BANNER = "SIMULATED: an invented workstation"
MARK_NAME = "SIMULATED.txt"


@contextmanager
def demo_history(keep: Path | None) -> Iterator[History]:
    """A new history, in a directory that is removed in the end, or in ``keep``, which must not
    hold anything yet. Raises OperatorError."""
    if keep is not None:
        yield from _history_in(_made(keep))
        return
    with tempfile.TemporaryDirectory(prefix="arraygauge-demo-") as made:
        yield from _history_in(Path(made))


def _made(keep: Path) -> Path:
    try:
        keep.mkdir(mode=0o700, parents=True, exist_ok=True)
        held = next(keep.iterdir(), None)
    except OSError as error:
        raise OperatorError(f"{keep}: {error.strerror}", "name another directory") from error
    if held is not None:
        raise OperatorError(
            f"{keep}: it is not empty, and may hold a real history", "name a new directory"
        )
    return keep


def _history_in(folder: Path) -> Iterator[History]:
    (folder / MARK_NAME).write_text(f"{BANNER}. Nothing here was measured.\n", encoding="utf-8")
    with open_history(folder / HISTORY_NAME) as history:
        with history.reading() as connection:
            # A year is written in seconds, and nobody misses it after a power cut.
            connection.execute("PRAGMA synchronous = OFF")
        yield history
