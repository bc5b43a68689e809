"""The configuration's [heartbeat]: a sign of life to an address outside, off by default."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from arraygauge.config.tell import PostSection


class HeartbeatSection(PostSection):
    """While the agent works, it posts a small JSON document to `url` every `interval_seconds`;
    whoever hears nothing for two or three intervals knows that it, or its machine, is dead.
    The secret's keys are those of a webhook."""

    interval_seconds: Annotated[float, Field(ge=10, le=86400)] = 300.0
