"""The configuration file's keys. Every one has a sane default; an unknown one is an error."""

from __future__ import annotations

from typing import Annotated

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    PlainValidator,
    model_validator,
)

from arraygauge.config.exposure import ExposureSection, refuse_open_address
from arraygauge.config.footage import FootageSection, refuse_same_footage
from arraygauge.config.heartbeat import HeartbeatSection
from arraygauge.config.sizes import AbsolutePath, Size
from arraygauge.config.tell import (
    JournalSection,
    NotifySection,
    TellingSection,
    WebhookSection,
    refuse_same_names,
)
from arraygauge.config.watching import WatchingSection
from arraygauge.config.write_probe import WriteProbeSection
from arraygauge.inventory.values import LinkKind, LinkRate
from arraygauge.probe.budget import BudgetLimits
from arraygauge.probe.quiet_hours import QuietHours, parse_quiet_hours
from arraygauge.theory import Direction, Uplink
from arraygauge.theory.links import Encoding, data_bytes_per_second, encoded_bytes_per_second


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


MegabytesPerSecond = Annotated[float, Field(gt=0, allow_inf_nan=False)]
"""Decimal: 1 MB/s is 1,000,000 bytes per second."""


def _quiet_hours(value: object) -> object:
    if not isinstance(value, str):
        raise ValueError("write a text like '22:00-06:00'")
    return parse_quiet_hours(value)


Hours = Annotated[QuietHours, PlainValidator(_quiet_hours)]
"""A span of local time, such as '22:00-06:00'."""
Seconds = Annotated[float, Field(gt=0, allow_inf_nan=False)]


class ProbeSection(_Section):
    """How much one drive may be asked for in one pass, and where own files may lie.

    Reading ends as soon as the rate is known to `interval_half_width` of itself.
    """

    longest_burst_seconds: Annotated[float, Field(ge=0.3, le=10)] = 1.2
    interval_half_width: Annotated[float, Field(ge=0.005, le=0.2)] = 0.03
    max_seconds: Annotated[float, Field(ge=0.5, le=60)] = 6.0
    max_bytes: Size = 2**30
    own_file_bytes: Size = 256 * 2**20
    own_file_directories: tuple[AbsolutePath, ...] = ()


class RunSection(_Section):
    """The schedule and the address of `arraygauge run`."""

    interval_seconds: Annotated[float, Field(ge=1, le=7 * 86400)] = 3600.0
    listen_address: str = "127.0.0.1"
    listen_port: Annotated[int, Field(ge=0, le=65535)] = 9847


_LIMITS = BudgetLimits()


class BudgetSection(_Section):
    """What probing may take of each device in any hour and any day, when nothing may be probed
    on schedule, and how much of a drive's endurance a year of write probes may use."""

    hour_bytes: Size = _LIMITS.hour_bytes
    hour_seconds: Seconds = _LIMITS.hour_seconds
    day_bytes: Size = _LIMITS.day_bytes
    day_seconds: Seconds = _LIMITS.day_seconds
    endurance_share_per_year: Annotated[float, Field(ge=0, le=0.1)] = (
        _LIMITS.endurance_share_per_year
    )
    quiet_hours: tuple[Hours, ...] = ()

    @model_validator(mode="after")
    def _a_day_holds_an_hour(self) -> BudgetSection:
        if self.hour_bytes > self.day_bytes:
            raise ValueError("hour_bytes is more than day_bytes: an hour is part of a day")
        if self.hour_seconds > self.day_seconds:
            raise ValueError("hour_seconds is more than day_seconds: an hour is part of a day")
        return self

    def limits(self) -> BudgetLimits:
        return BudgetLimits(
            hour_bytes=self.hour_bytes,
            hour_seconds=self.hour_seconds,
            day_bytes=self.day_bytes,
            day_seconds=self.day_seconds,
            endurance_share_per_year=self.endurance_share_per_year,
            quiet_hours=self.quiet_hours,
        )


class ParitySection(_Section):
    """How fast md does parity on this processor, where better is known than the agent's own
    short benchmark: the figure the kernel logs at boot, for instance."""

    mb_per_second: MegabytesPerSecond | None = None


class DriveSection(_Section):
    """A drive's own rates, from its data sheet; `match` is a name, serial or stable id.

    `endurance_terabytes_written` is what its maker lets a host write in the drive's life, in
    decimal terabytes; write probes stay within a small share of it (`budget`).
    """

    match: str
    read_mb_per_second: MegabytesPerSecond | None = None
    write_mb_per_second: MegabytesPerSecond | None = None
    endurance_terabytes_written: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None

    @model_validator(mode="after")
    def _says_something(self) -> DriveSection:
        if self.write_mb_per_second is not None and self.read_mb_per_second is None:
            raise ValueError("give read_mb_per_second as well as write_mb_per_second")
        if self.read_mb_per_second is None and self.endurance_terabytes_written is None:
            raise ValueError("give read_mb_per_second, endurance_terabytes_written or both")
        return self


class UplinkSection(_Section):
    """A shared link the kernel does not show: a rate, or lanes and their signalling rate.

    Lanes are PCIe lanes, packets included, unless `encoding` names another: a Thunderbolt 3
    cable is 2 lanes at 20.625 with 64b/66b.
    `devices` are patterns for device names, stable ids, or names of links on their path.
    """

    name: Annotated[str, Field(min_length=1)]
    devices: Annotated[tuple[str, ...], Field(min_length=1)]
    read_mb_per_second: MegabytesPerSecond | None = None
    write_mb_per_second: MegabytesPerSecond | None = None
    lanes: Annotated[int, Field(ge=1, le=32)] | None = None
    gigatransfers_per_second: Annotated[float, Field(gt=0, le=128)] | None = None
    encoding: Encoding | None = None
    reserved_share: Annotated[float, Field(ge=0, lt=1)] = 0.0
    full_duplex: bool = True

    @model_validator(mode="after")
    def _rate_or_lanes(self) -> UplinkSection:
        lanes = (self.lanes, self.gigatransfers_per_second)
        by_lanes = (*lanes, self.encoding)
        if self.read_mb_per_second is not None and any(key is not None for key in by_lanes):
            raise ValueError("give a rate, or lanes with their signalling rate, not both")
        if self.read_mb_per_second is None and None in lanes:
            raise ValueError(
                "give either read_mb_per_second, or both lanes and gigatransfers_per_second"
            )
        return self

    def uplink(self) -> Uplink:
        """What the other users of the link leave, in the model's terms."""
        share = 1 - self.reserved_share
        return Uplink(
            name=self.name,
            devices=self.devices,
            read_bytes_per_second=self._rate(Direction.READ) * share,
            write_bytes_per_second=self._rate(Direction.WRITE) * share,
            full_duplex=self.full_duplex,
        )

    def _rate(self, direction: Direction) -> float:
        if self.lanes is not None and self.gigatransfers_per_second is not None:
            bits = round(self.gigatransfers_per_second * 1e9)
            rate = LinkRate(bits_per_second_per_lane=bits, lanes=self.lanes)
            if self.encoding is not None:
                return encoded_bytes_per_second(self.encoding, rate)
            return data_bytes_per_second(LinkKind.PCIE, rate, direction)
        read = (self.read_mb_per_second or 0.0) * 1e6
        if direction is Direction.WRITE and self.write_mb_per_second is not None:
            return self.write_mb_per_second * 1e6
        return read


class Configuration(_Section):
    """The whole file."""

    probe: ProbeSection = ProbeSection()
    write_probe: WriteProbeSection = WriteProbeSection()
    run: RunSection = RunSection()
    exposure: ExposureSection | None = None
    watching: WatchingSection = WatchingSection()
    budget: BudgetSection = BudgetSection()
    journal: JournalSection = JournalSection()
    webhook: tuple[WebhookSection, ...] = ()
    notify: tuple[NotifySection, ...] = ()
    telling: TellingSection = TellingSection()
    heartbeat: HeartbeatSection | None = None
    parity: ParitySection = ParitySection()
    drive: tuple[DriveSection, ...] = ()
    footage: tuple[FootageSection, ...] = ()
    uplink: tuple[UplinkSection, ...] = ()

    @property
    def uplinks(self) -> tuple[Uplink, ...]:
        """In the model's terms."""
        return tuple(section.uplink() for section in self.uplink)

    @model_validator(mode="after")
    def _channels_have_their_own_names(self) -> Configuration:
        refuse_same_names(self.webhook, self.notify)
        return self

    @model_validator(mode="after")
    def _footage_has_its_own_names(self) -> Configuration:
        refuse_same_footage(self.footage)
        return self

    @model_validator(mode="after")
    def _others_are_kept_out(self) -> Configuration:
        refuse_open_address(self.run.listen_address, self.exposure)
        return self
