"""Finding and reading the configuration file; every mistake is named by file, line and key."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from arraygauge.config.exposure import ExposureSection
from arraygauge.config.footage import FootageSection
from arraygauge.config.heartbeat import HeartbeatSection
from arraygauge.config.lines import Place, line_at, lines_of
from arraygauge.config.model import (
    BudgetSection,
    Configuration,
    DriveSection,
    ParitySection,
    ProbeSection,
    RunSection,
    UplinkSection,
)
from arraygauge.config.tell import (
    JournalSection,
    NotifySection,
    TellingSection,
    WebhookSection,
)
from arraygauge.config.watching import WatchingSection
from arraygauge.config.write_probe import WriteProbeSection
from arraygauge.errors import ConfigurationError

SYSTEM_PATH = Path("/etc/arraygauge/config.toml")

SECTIONS: dict[str, type[BaseModel]] = {
    "": Configuration,
    "probe": ProbeSection,
    "write_probe": WriteProbeSection,
    "run": RunSection,
    "exposure": ExposureSection,
    "watching": WatchingSection,
    "budget": BudgetSection,
    "parity": ParitySection,
    "drive": DriveSection,
    "footage": FootageSection,
    "uplink": UplinkSection,
    "journal": JournalSection,
    "webhook": WebhookSection,
    "notify": NotifySection,
    "telling": TellingSection,
    "heartbeat": HeartbeatSection,
}


def default_path() -> Path:
    """A service reads what systemd names (systemd.exec(5), ConfigurationDirectory=), root the
    system's file; anyone else their own (XDG base directories)."""
    given = os.environ.get("CONFIGURATION_DIRECTORY")
    if given:
        return Path(given.split(":")[0]) / SYSTEM_PATH.name
    if os.geteuid() == 0:
        return SYSTEM_PATH
    base = os.environ.get("XDG_CONFIG_HOME") or str(Path.home() / ".config")
    return Path(base) / "arraygauge" / "config.toml"


def state_directory() -> Path:
    """Where own files lie: systemd's choice, the system's place for root, else XDG."""
    given = os.environ.get("STATE_DIRECTORY")
    if given:
        return Path(given.split(":")[0])
    if os.geteuid() == 0:
        return Path("/var/lib/arraygauge")
    base = os.environ.get("XDG_STATE_HOME") or str(Path.home() / ".local" / "state")
    return Path(base) / "arraygauge"


def load_configuration(path: Path | None) -> Configuration:
    """The file's configuration; the defaults where no file was named and none exists.

    Raises ConfigurationError naming the file, and line, key, reason and remedy of each mistake.
    """
    chosen = path or default_path()
    try:
        text = chosen.read_text(encoding="utf-8")
    except FileNotFoundError as missing:
        if path is None:
            return Configuration()
        raise ConfigurationError(
            f"{chosen}: no such file", "name an existing file, or leave out --config"
        ) from missing
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigurationError(
            f"{chosen}: cannot be read: {error}", "make it a readable UTF-8 text file"
        ) from error
    return parse_configuration(text, str(chosen))


def parse_configuration(text: str, origin: str) -> Configuration:
    """A configuration from TOML text; ``origin`` names it in errors. What holds between several
    keys of a section, or between sections, can be told only once each by itself is right."""
    return parse_sections(text, origin, Configuration, SECTIONS)


Sections = TypeVar("Sections", bound=BaseModel)


def parse_sections(
    text: str, origin: str, kind: type[Sections], sections: Mapping[str, type[BaseModel]]
) -> Sections:
    """Any file of ours. ``sections`` are the kinds of its sections by name, "" for the file."""
    try:
        return kind.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise ConfigurationError(f"{origin}: not valid TOML: {error}", "mend that line") from error
    except ValidationError as error:
        errors = error.errors(include_url=False)
        raise _mistakes(errors, lines_of(text), origin, sections) from error


def _mistakes(
    errors: Sequence[ErrorDetails],
    lines: Mapping[Place, int],
    origin: str,
    sections: Mapping[str, type[BaseModel]],
) -> ConfigurationError:
    """All of them, in the order of the file."""
    placed = sorted(
        ((line_at(lines, error["loc"]), error) for error in errors), key=lambda one: one[0] or 0
    )
    if len(placed) == 1:
        [(line, error)] = placed
        where = f"{origin}, line {line}" if line else origin
        return ConfigurationError(
            f"{where}: {_where(error)}: {_reason(error)}", _remedy(error, sections)
        )
    told = [
        f"  {f'line {line}: ' if line else ''}{_where(error)}: {_reason(error)}; "
        f"{_remedy(error, sections)}"
        for line, error in placed
    ]
    return ConfigurationError(
        "\n".join([f"{origin}: {len(told)} mistakes", *told]), "mend each of them"
    )


def _where(error: ErrorDetails) -> str:
    parts = [f"[{part + 1}]" if isinstance(part, int) else str(part) for part in error["loc"]]
    return ".".join(parts).replace(".[", "[") or "the file"


_OWN_WORDS = {"extra_forbidden": "there is no such key", "missing": "it is missing"}


def _reason(error: ErrorDetails) -> str:
    """In our own words where we have some: the library announces those."""
    return _OWN_WORDS.get(error["type"]) or error["msg"].removeprefix("Value error, ")


def _remedy(error: ErrorDetails, sections: Mapping[str, type[BaseModel]]) -> str:
    if error["type"] == "missing":
        return "add it"
    if error["type"] != "extra_forbidden":
        return "mend that value"
    *section, key = error["loc"]
    known = list(sections[str(section[0]) if section else ""].model_fields)
    close = get_close_matches(str(key), known, n=1)
    if close:
        return f"did you mean '{close[0]}'?"
    return f"remove it; known keys here are {', '.join(known)}"
