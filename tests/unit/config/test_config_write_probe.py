"""[write_probe] is off until enabled, and says what it lacks."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from arraygauge.config.write_probe import WriteProbeSection

MIB = 1 << 20


def test_it_is_off_and_its_defaults_are_sane() -> None:
    section = WriteProbeSection()
    assert not section.enabled
    assert section.directories == ()
    assert (section.file_bytes, section.burst_bytes) == (256 * MIB, 256 * MIB)
    assert section.transfer_bytes == MIB
    assert section.keep_file


def test_sizes_are_written_with_units() -> None:
    section = WriteProbeSection.model_validate(
        {"enabled": True, "directories": ["/films"], "file_bytes": "1 GiB"}
    )
    assert section.file_bytes == 1024 * MIB


@pytest.mark.parametrize(
    "keys",
    [
        {"enabled": True},
        {"directories": ["films"]},
        {"transfer_bytes": 1000},
        {"file_bytes": "1 MiB"},
        {"longest_seconds": 0},
        {"unheard_of": 1},
    ],
)
def test_what_makes_no_sense_is_an_error(keys: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        WriteProbeSection.model_validate(keys)
