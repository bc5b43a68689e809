"""[watching]: the rate at which stalls are counted in frames."""

from __future__ import annotations

import pytest

from arraygauge.config import parse_configuration
from arraygauge.errors import ConfigurationError


def test_stalls_are_counted_at_25_frames_a_second_unless_another_rate_is_declared() -> None:
    assert parse_configuration("", "test").watching.frames_per_second == 25
    declared = "[watching]\nframes_per_second = 23.976\n"
    assert parse_configuration(declared, "test").watching.frames_per_second == 23.976


@pytest.mark.parametrize("rate", ["0", "-1", "nan", "'fast'", "5000"])
def test_a_rate_that_is_none_is_refused(rate: str) -> None:
    with pytest.raises(ConfigurationError, match=r"watching\.frames_per_second"):
        parse_configuration(f"[watching]\nframes_per_second = {rate}\n", "test")


def test_a_key_that_is_nearly_right_is_named() -> None:
    with pytest.raises(ConfigurationError) as caught:
        parse_configuration("[watching]\nframes = 25\n", "test")
    assert "frames_per_second" in caught.value.remedy
