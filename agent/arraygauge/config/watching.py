"""The configuration's [watching]: what the watch over the kernel's counters is told."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field


class WatchingSection(BaseModel):
    """`frames_per_second` of the material that is worked on: stalls are counted in frames."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    frames_per_second: Annotated[float, Field(ge=1, le=1000, allow_inf_nan=False)] = 25.0
