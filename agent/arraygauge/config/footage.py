"""The configuration's [[footage]]: what is to be played from which array."""

from __future__ import annotations

from fractions import Fraction
from typing import Annotated, Any, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from arraygauge.config.sizes import Size
from arraygauge.errors import ConfigurationError
from arraygauge.judge.footage_values import Promise
from arraygauge.theory.footage import (
    CODECS,
    MOST_STREAMS,
    USUAL_HEADROOM,
    Stream,
    find_codec,
    parse_frame_rate,
    parse_raster,
    stream_at,
    stream_of,
)
from arraygauge.theory.footage.needs import LEAST_TRANSFER_BYTES, MOST_TRANSFER_BYTES
from arraygauge.units import MIB, format_binary


def _frame_rate_text(value: object) -> object:
    """A number is what its shortest text says: 29.97 is meant, and not its binary neighbour."""
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return str(value) if is_number else value


FrameRateText = Annotated[str, BeforeValidator(_frame_rate_text)]
"""Frames per second as a number, or a text such as '24000/1001'."""


class FootageSection(BaseModel):
    """Footage by its codec, raster and frame rate, or by its rate alone; how many streams of it
    are played at once, and what share of the array's rate is to be left free.

    `array` is the array's kernel name, a path to it or its stable id; `name` is what the
    footage is called. Without `streams` it is only said how many the array carries.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    array: Annotated[str, Field(min_length=1)]
    name: str | None = None
    codec: str | None = None
    raster: str | None = None
    frames_per_second: FrameRateText | None = None
    megabits_per_second: (
        Annotated[float, Field(gt=0, le=10_000_000, allow_inf_nan=False)] | None
    ) = None
    streams: Annotated[int, Field(ge=1, le=MOST_STREAMS)] | None = None
    headroom: Annotated[float, Field(ge=0, le=0.9, allow_inf_nan=False)] = float(USUAL_HEADROOM)
    transfer_bytes: Size = MIB

    @model_validator(mode="after")
    def _can_be_known(self) -> Self:
        if not LEAST_TRANSFER_BYTES <= self.transfer_bytes <= MOST_TRANSFER_BYTES or (
            self.transfer_bytes % 4096
        ):
            least, most = map(format_binary, (LEAST_TRANSFER_BYTES, MOST_TRANSFER_BYTES))
            raise ValueError(
                f"transfer_bytes is what a player reads at once: from {least} to {most}, "
                "in whole steps of 4 KiB"
            )
        parts = (self.codec, self.raster, self.frames_per_second)
        if self.megabits_per_second is not None and any(part is not None for part in parts):
            raise ValueError(
                "give megabits_per_second, or codec, raster and frames_per_second, not both"
            )
        if self.megabits_per_second is None and None in parts:
            raise ValueError(
                "give codec, raster and frames_per_second, or megabits_per_second alone"
            )
        self.stream()
        return self

    def stream(self) -> Stream:
        """One stream of it. Raises ValueError where nothing is known of it."""
        if self.codec is None or self.raster is None or self.frames_per_second is None:
            return stream_at(Fraction(str(self.megabits_per_second)), self.transfer_bytes)
        return stream_of(
            find_codec(self.codec, CODECS),
            parse_raster(self.raster),
            parse_frame_rate(self.frames_per_second),
            self.transfer_bytes,
        )

    def promise(self) -> Promise:
        """In the judge's terms."""
        stream = self.stream()
        return Promise(
            name=self.name or stream.name,
            stream=stream,
            streams=self.streams,
            headroom=Fraction(str(self.headroom)),
        )


def refuse_same_footage(sections: tuple[FootageSection, ...]) -> None:
    """Raises ValueError where footage of one array has the same name twice."""
    seen = set()
    for section in sections:
        key = (section.array.rpartition("/")[2], section.promise().name)
        if key in seen:
            raise ValueError(f"footage: '{key[1]}' is there twice for {key[0]}: give each a name")
        seen.add(key)


def footage_asked_for(**keys: Any) -> FootageSection:
    """A section made from what somebody gives on the command line; None is left out.

    Raises ConfigurationError in the words a file's mistake has.
    """
    given = {key: value for key, value in keys.items() if value is not None}
    try:
        return FootageSection(**given)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        reason = first["msg"].removeprefix("Value error, ")
        raise ConfigurationError(
            f"{where}: {reason}" if where else reason,
            "`arraygauge footage` lists codecs, pictures and frame rates",
        ) from error
