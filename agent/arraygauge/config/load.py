"""Finding and reading the configuration file; every mistake is named by file and key."""

from __future__ import annotations

import os
import tomllib
from difflib import get_close_matches
from pathlib import Path

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from arraygauge.config.exposure import ExposureSection
from arraygauge.config.heartbeat import HeartbeatSection
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

_SECTIONS: dict[str, type[BaseModel]] = {
    "": Configuration,
    "probe": ProbeSection,
    "write_probe": WriteProbeSection,
    "run": RunSection,
    "exposure": ExposureSection,
    "watching": WatchingSection,
    "budget": BudgetSection,
    "parity": ParitySection,
    "drive": DriveSection,
    "uplink": UplinkSection,
    "journal": JournalSection,
    "webhook": WebhookSection,
    "notify": NotifySection,
    "telling": TellingSection,
    "heartbeat": HeartbeatSection,
}


def default_path() -> Path:
    """Root reads the system's file; anyone else their own (XDG base directories)."""
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

    Raises ConfigurationError naming the file, the key and the reason.
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
    """A configuration from TOML text; ``origin`` names it in errors."""
    try:
        return Configuration.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise ConfigurationError(f"{origin}: not valid TOML: {error}", "mend that line") from error
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        raise ConfigurationError(
            f"{origin}: {_where(first)}: {_reason(first)}", _remedy(first)
        ) from error


def _where(error: ErrorDetails) -> str:
    parts = [f"[{part + 1}]" if isinstance(part, int) else str(part) for part in error["loc"]]
    return ".".join(parts).replace(".[", "[") or "the file"


def _reason(error: ErrorDetails) -> str:
    """In our own words where we have some: the library announces those."""
    return error["msg"].removeprefix("Value error, ")


def _remedy(error: ErrorDetails) -> str:
    if error["type"] != "extra_forbidden":
        return "mend that value"
    *section, key = error["loc"]
    known = list(_SECTIONS[str(section[0]) if section else ""].model_fields)
    close = get_close_matches(str(key), known, n=1)
    if close:
        return f"did you mean '{close[0]}'?"
    return f"remove it; known keys here are {', '.join(known)}"
