"""A progress bar on a terminal, nothing in a pipe."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TextIO

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn


@contextmanager
def progress_on(stream: TextIO) -> Iterator[Callable[[str, int, int], None]]:
    """Yields what a pass calls before each probe."""
    columns = (
        TextColumn("measuring {task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
    )
    console = Console(file=stream)
    with Progress(*columns, console=console, transient=True, disable=not stream.isatty()) as bar:
        task = bar.add_task("the inventory", total=None)
        yield lambda name, index, total: bar.update(
            task, description=name, completed=index, total=total
        )
