"""The history of this machine for commands that only look into it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager

import click

from arraygauge.config import state_directory
from arraygauge.errors import OperatorError
from arraygauge.history import History, open_history
from arraygauge.service.purse import HISTORY_NAME


@contextmanager
def existing_history() -> Iterator[History]:
    """Never makes one. Raises OperatorError where there is none, or it may not be read."""
    path = state_directory() / HISTORY_NAME
    try:
        os.stat(path)
    except FileNotFoundError as error:
        raise OperatorError(
            f"{path}: nothing was measured yet, as far as this user can see",
            "have 'arraygauge run' measure, or look as the user that does",
        ) from error
    except OSError as error:
        raise OperatorError(
            f"{path}: {error.strerror}", "look as the user that arraygauge runs as"
        ) from error
    with open_history(path) as history:
        for note in history.notes:
            click.echo(f"arraygauge: {note}", err=True)
        yield history
