"""The configuration file's keys. Every one has a sane default; an unknown one is an error."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from arraygauge.inventory.values import LinkKind, LinkRate
from arraygauge.theory import Direction, Uplink
from arraygauge.theory.links import Encoding, data_bytes_per_second, encoded_bytes_per_second
from arraygauge.units import parse_bytes


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


def _bytes(value: object) -> object:
    return parse_bytes(value) if isinstance(value, str) else value


Size = Annotated[int, BeforeValidator(_bytes), Field(gt=0)]
"""A number of bytes, or text such as '256 MiB'."""
MegabytesPerSecond = Annotated[float, Field(gt=0, allow_inf_nan=False)]
"""Decimal: 1 MB/s is 1,000,000 bytes per second."""


def _absolute(path: str) -> str:
    if not path.startswith("/"):
        raise ValueError("write an absolute path, beginning with '/'")
    return path


AbsolutePath = Annotated[str, AfterValidator(_absolute)]


class ProbeSection(_Section):
    """How much one device may be asked for in one pass, and where own files may lie."""

    seconds: Annotated[float, Field(ge=0.5, le=60)] = 2.4
    warm_up_seconds: Annotated[float, Field(ge=0, le=5)] = 0.3
    max_bytes: Size = 2 * 2**30
    own_file_bytes: Size = 256 * 2**20
    own_file_directories: tuple[AbsolutePath, ...] = ()

    @model_validator(mode="after")
    def _warm_up_leaves_time(self) -> ProbeSection:
        if self.warm_up_seconds * 3 >= self.seconds:
            raise ValueError("warm_up_seconds is taken at three places: keep it below seconds / 3")
        return self


class RunSection(_Section):
    """The schedule and the address of `arraygauge run`."""

    interval_seconds: Annotated[float, Field(ge=1, le=7 * 86400)] = 900.0
    listen_address: str = "127.0.0.1"
    listen_port: Annotated[int, Field(ge=0, le=65535)] = 9847


class ParitySection(_Section):
    """How fast md does parity on this processor, where better is known than the agent's own
    short benchmark: the figure the kernel logs at boot, for instance."""

    mb_per_second: MegabytesPerSecond | None = None


class DriveSection(_Section):
    """A drive's own rates, from its data sheet; `match` is a name, serial or stable id."""

    match: str
    read_mb_per_second: MegabytesPerSecond
    write_mb_per_second: MegabytesPerSecond | None = None


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
    run: RunSection = RunSection()
    parity: ParitySection = ParitySection()
    drive: tuple[DriveSection, ...] = ()
    uplink: tuple[UplinkSection, ...] = ()
