"""The configuration's [write_probe]: off until enabled, and never to a device itself."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, model_validator

from arraygauge.config.sizes import AbsolutePath, Size
from arraygauge.probe.writes.values import ALIGNMENT_BYTES
from arraygauge.units import MIB

GIB = 1024 * MIB


class WriteProbeSection(BaseModel):
    """Writes to the agent's own file, in the first of `directories` on the array or drive in
    question: on schedule once `enabled`, each array and drive every `interval_seconds`; by
    `arraygauge check --write` whenever a person asks.

    The file has `file_bytes`; each probe writes `burst_bytes` over it. Writes wear flash:
    budget.endurance_share_per_year bounds them.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    enabled: bool = False
    interval_seconds: Annotated[float, Field(ge=3600, le=365 * 86400)] = 7 * 86400.0
    directories: tuple[AbsolutePath, ...] = ()
    file_bytes: Annotated[Size, Field(ge=16 * MIB, le=1024 * GIB)] = 256 * MIB
    burst_bytes: Annotated[Size, Field(ge=16 * MIB, le=1024 * GIB)] = 256 * MIB
    longest_seconds: Annotated[float, Field(ge=0.5, le=600)] = 5.0
    transfer_bytes: Annotated[Size, Field(multiple_of=ALIGNMENT_BYTES, le=16 * MIB)] = MIB
    keep_file: bool = True

    @model_validator(mode="after")
    def _somewhere_to_write(self) -> WriteProbeSection:
        if self.enabled and not self.directories:
            raise ValueError("write_probe is enabled, so name directories on the arrays")
        return self
