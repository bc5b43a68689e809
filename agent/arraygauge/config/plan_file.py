"""The small file of `arraygauge plan`: drives on paper and the bus they would hang on."""

from __future__ import annotations

from collections import Counter
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, model_validator

from arraygauge.config.load import parse_sections
from arraygauge.config.model import MegabytesPerSecond, ParitySection, UplinkSection
from arraygauge.config.sizes import Size
from arraygauge.errors import ConfigurationError
from arraygauge.theory import MemberRate, Source
from arraygauge.theory.conditions import POSITIONING_SECONDS
from arraygauge.theory.paths import uplink_resource
from arraygauge.theory.plan import PlannedDrive, Supply

MOST_DRIVES = 64
ASSUMED_LATENCY_SECONDS = 0.1e-3
"""What a transfer from a drive without heads takes besides its bytes, where not given (common
practice, no published source)."""

Milliseconds = Annotated[float, Field(ge=0, le=10_000, allow_inf_nan=False)]


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class PaperDriveSection(_Section):
    """``count`` drives alike. More than one are called by their name and a number from 1.

    `move_ms` is what a disk takes to go on at another place, `latency_ms` what passes with
    each transfer without keeping the drive busy.
    """

    name: Annotated[str, Field(pattern=r"^[A-Za-z0-9_.:-]{1,32}$")] = "drive"
    count: Annotated[int, Field(ge=1, le=MOST_DRIVES)] = 1
    size: Size
    read_mb_per_second: MegabytesPerSecond
    write_mb_per_second: MegabytesPerSecond | None = None
    rotational: bool = False
    move_ms: Milliseconds | None = None
    latency_ms: Milliseconds | None = None

    @model_validator(mode="after")
    def _only_disks_move(self) -> PaperDriveSection:
        if self.move_ms is not None and not self.rotational:
            raise ValueError("move_ms is for drives that turn: say rotational = true as well")
        return self

    @property
    def names(self) -> tuple[str, ...]:
        if self.count == 1:
            return (self.name,)
        return tuple(f"{self.name}{number}" for number in range(1, self.count + 1))

    def drives(self) -> tuple[PlannedDrive, ...]:
        """In the model's terms."""
        write = self.write_mb_per_second
        rate = MemberRate(
            read_bytes_per_second=self.read_mb_per_second * 1e6,
            write_bytes_per_second=None if write is None else write * 1e6,
            source=Source.RATED,
            operation_seconds=self._move_seconds(),
            latency_seconds=self._latency_seconds(),
        )
        return tuple(
            PlannedDrive(
                name=name,
                size_bytes=self.size,
                rate=rate,
                write_source=Source.ASSUMED if write is None else Source.RATED,
                timing_source=self._timing_source(),
                rotational=self.rotational,
            )
            for name in self.names
        )

    def _timing_source(self) -> Source:
        given = self.move_ms if self.rotational else self.latency_ms
        return Source.ASSUMED if given is None else Source.RATED

    def _move_seconds(self) -> float:
        if self.move_ms is not None:
            return self.move_ms / 1000
        return POSITIONING_SECONDS if self.rotational else 0.0

    def _latency_seconds(self) -> float:
        if self.latency_ms is not None:
            return self.latency_ms / 1000
        return 0.0 if self.rotational else ASSUMED_LATENCY_SECONDS


class PlanFile(_Section):
    """The whole file. `[[uplink]]` and `[parity]` are those of the configuration; an uplink's
    `devices` are patterns for the names of drives here."""

    drive: tuple[PaperDriveSection, ...]
    uplink: tuple[UplinkSection, ...] = ()
    parity: ParitySection = ParitySection()

    @model_validator(mode="after")
    def _drives_have_their_own_names(self) -> PlanFile:
        names = Counter(name for section in self.drive for name in section.names)
        if not names:
            raise ValueError("no drives: give at least one [[drive]]")
        if names.total() > MOST_DRIVES:
            raise ValueError(f"{names.total()} drives: a plan looks at {MOST_DRIVES} at most")
        name, times = names.most_common(1)[0]
        if times > 1:
            raise ValueError(f"{times} drives are called '{name}': give each its own name")
        return self

    @model_validator(mode="after")
    def _uplinks_have_drives(self) -> PlanFile:
        names = [name for section in self.drive for name in section.names]
        for link in self.uplink:
            if not _behind(link, names):
                raise ValueError(
                    f"no drive is behind uplink '{link.name}': its devices match none of "
                    f"{', '.join(names[:4])}{', …' if len(names) > 4 else ''}"
                )
        links = Counter(link.name for link in self.uplink)
        if links and links.most_common(1)[0][1] > 1:
            raise ValueError(
                f"two uplinks are called '{links.most_common(1)[0][0]}': give each its own name"
            )
        return self

    def supply(self) -> Supply:
        """In the model's terms."""
        drives = tuple(drive for section in self.drive for drive in section.drives())
        names = [drive.name for drive in drives]
        parity = self.parity.mb_per_second
        return Supply(
            drives=drives,
            links=tuple(
                uplink_resource(link.uplink(), _behind(link, names)) for link in self.uplink
            ),
            parity_bytes_per_second=None if parity is None else parity * 1e6,
        )


def _behind(link: UplinkSection, names: list[str]) -> tuple[str, ...]:
    return tuple(
        name for name in names if any(fnmatchcase(name, pattern) for pattern in link.devices)
    )


_SECTIONS: dict[str, type[BaseModel]] = {
    "": PlanFile,
    "drive": PaperDriveSection,
    "uplink": UplinkSection,
    "parity": ParitySection,
}


def parse_plan_file(text: str, origin: str) -> PlanFile:
    """``origin`` names the file in errors. ConfigurationError for each mistake, with its line,
    key, reason and remedy."""
    return parse_sections(text, origin, PlanFile, _SECTIONS)


def load_plan_file(path: Path) -> PlanFile:
    """As ``parse_plan_file``; ConfigurationError also for a file that cannot be read."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError as missing:
        raise ConfigurationError(f"{path}: no such file", "name an existing file") from missing
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigurationError(
            f"{path}: cannot be read: {error}", "make it a readable UTF-8 text file"
        ) from error
    return parse_plan_file(text, str(path))
