"""The manual page, made from the commands themselves: man(7) macros, for one page."""

from __future__ import annotations

import inspect
from collections.abc import Iterator
from datetime import UTC, datetime

import click

from arraygauge import __version__
from arraygauge.cli import main

_ESCAPES = str.maketrans(
    {
        "\\": "\\e",
        "-": "\\-",
        "'": "\\(aq",
        '"': "\\(dq",
        "~": "\\(ti",
        "^": "\\(ha",
        "`": "\\(ga",
    }
)
_FILES = (
    ("/etc/arraygauge/config.toml", "Configuration for root and for the service."),
    ("~/.config/arraygauge/config.toml", "Configuration for anyone else."),
    ("/var/lib/arraygauge", "What was measured, and own files, of root and of the service."),
    ("~/.local/state/arraygauge", "The same for anyone else."),
)
_STATUS = (
    ("0", "Done."),
    ("1", "A fault in the program or its surroundings."),
    ("2", "A wrong command or configuration."),
    ("3, 4, 5", "What the sections of the commands say."),
)


def manual(epoch: int) -> str:
    """The whole page; ``epoch`` (seconds since 1970) dates it."""
    context = click.Context(main, info_name="arraygauge", **main.context_settings)
    day = datetime.fromtimestamp(epoch, UTC).strftime("%Y-%m-%d")
    lines = [
        f'.TH ARRAYGAUGE 1 {day} "arraygauge {__version__}" "User Commands"',
        ".SH NAME",
        "arraygauge \\- gauge of Linux md arrays and their drives",
        ".SH SYNOPSIS",
        _usage(main, context),
        ".SH DESCRIPTION",
        *_prose(main.help or ""),
        ".SH OPTIONS",
        *_options(main, context),
        ".SH COMMANDS",
        *(line for name in main.list_commands(context) for line in _command(main, name, context)),
        ".SH FILES",
        *_pairs(_FILES),
        ".SH EXIT STATUS",
        *_pairs(_STATUS),
    ]
    return "\n".join(lines) + "\n"


def _command(group: click.Group, name: str, parent: click.Context) -> Iterator[str]:
    command = group.get_command(parent, name)
    if command is None:
        raise SystemExit(f"{name}: listed, but no command")
    context = click.Context(command, info_name=name, parent=parent)
    yield f".SS {plain(context.command_path.removeprefix('arraygauge '))}"
    yield _usage(command, context)
    yield ".PP"
    yield from _prose(command.help or "")
    yield from _prose(command.epilog or "")
    yield from _options(command, context)
    if isinstance(command, click.Group):
        for inner in command.list_commands(context):
            yield from _command(command, inner, context)


def _usage(command: click.Command, context: click.Context) -> str:
    words = plain(" ".join(command.collect_usage_pieces(context)))
    return f"\\fB{plain(context.command_path)}\\fR {words}"


def _options(command: click.Command, context: click.Context) -> Iterator[str]:
    records = (param.get_help_record(context) for param in command.get_params(context))
    yield from _pairs(record for record in records if record is not None)


def _pairs(pairs: Iterator[tuple[str, str]] | tuple[tuple[str, str], ...]) -> Iterator[str]:
    for term, words in pairs:
        yield from (".TP", f"\\fB{plain(term)}\\fR", plain(" ".join(words.split())))


def _prose(text: str) -> Iterator[str]:
    """Paragraphs; one that begins with a backspace keeps its lines, as on a terminal."""
    for paragraph in inspect.cleandoc(text).split("\n\n"):
        kept = paragraph.startswith("\b\n")
        lines = [plain(line) for line in paragraph.removeprefix("\b\n").splitlines()]
        if lines:
            yield from (".PP", *((".nf", *lines, ".fi") if kept else lines))


def plain(text: str) -> str:
    """Text that roff prints as it is."""
    escaped = text.translate(_ESCAPES)
    return f"\\&{escaped}" if escaped.startswith(".") else escaped
