"""The configuration: each mistake is named by file, key and reason."""

from __future__ import annotations

from pathlib import Path

import pytest

from arraygauge.config import Configuration, load_configuration, parse_configuration
from arraygauge.errors import ConfigurationError


def test_an_absent_default_file_gives_the_defaults(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("arraygauge.config.load.SYSTEM_PATH", tmp_path / "none.toml")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert load_configuration(None) == Configuration()


def test_the_metrics_address_is_loopback_by_default() -> None:
    assert Configuration().run.listen_address == "127.0.0.1"


def test_a_named_file_must_exist(tmp_path: Path) -> None:
    with pytest.raises(ConfigurationError, match="no such file"):
        load_configuration(tmp_path / "none.toml")


def test_an_uplink_by_rate() -> None:
    text = '[[uplink]]\nname = "chipset"\ndevices = ["vd*"]\nread_mb_per_second = 60\n'
    [section] = parse_configuration(text, "test").uplink
    assert section.uplink().read_bytes_per_second == 60e6
    assert section.uplink().write_bytes_per_second == 60e6


def test_an_uplink_by_lanes_keeps_the_reserved_share_back() -> None:
    """Four lanes at 8 GT/s carry 3322 MB/s of reads (Neugebauer et al. 2018, derived)."""
    text = (
        '[[uplink]]\nname = "chipset"\ndevices = ["sd*"]\n'
        "lanes = 4\ngigatransfers_per_second = 8\nreserved_share = 0.25\n"
    )
    [section] = parse_configuration(text, "test").uplink
    assert section.uplink().read_bytes_per_second / 1e6 == pytest.approx(3322 * 0.75, rel=1e-3)


def test_a_cable_with_another_encoding() -> None:
    """Two lanes of 20.625 Gb/s with 64b/66b carry 5000 MB/s (arithmetic)."""
    text = (
        '[[uplink]]\nname = "cable"\ndevices = ["*"]\n'
        'lanes = 2\ngigatransfers_per_second = 20.625\nencoding = "64b/66b"\n'
    )
    [section] = parse_configuration(text, "test").uplink
    assert section.uplink().read_bytes_per_second / 1e6 == pytest.approx(5000)


@pytest.mark.parametrize(
    ("text", "message", "remedy"),
    [
        ("[probe]\nsecond = 3\n", r"f.toml: probe.second: ", "did you mean 'seconds'"),
        ("[proobe]\n", r"f.toml: proobe: ", "did you mean 'probe'"),
        ("[run]\nquux = 1\n", r"f.toml: run.quux: ", "known keys here are interval_seconds"),
        ("[run]\ninterval_seconds = 0\n", r"f.toml: run.interval_seconds: ", "mend that value"),
        ("[probe]\nmax_bytes = '3 bits'\n", r"probe.max_bytes: .*'3 bits' is not a size", "mend"),
        ("run = [\n", r"f.toml: not valid TOML", "mend that line"),
        ("[[uplink]]\nname='a'\ndevices=['b']\n", r"uplink\[1\]: .*give either", "mend"),
        (
            "[[uplink]]\nname='a'\ndevices=['b']\nlane=4\n",
            r"uplink\[1\].lane",
            "did you mean 'lanes'",
        ),
        ("[probe]\nseconds = 1\nwarm_up_seconds = 0.5\n", r"probe: .*warm_up_seconds", "mend"),
    ],
)
def test_mistakes_name_file_key_and_remedy(text: str, message: str, remedy: str) -> None:
    with pytest.raises(ConfigurationError, match=message) as caught:
        parse_configuration(text, "f.toml")
    assert remedy in caught.value.remedy


def test_sizes_may_be_written_with_units() -> None:
    assert (
        parse_configuration("[probe]\nmax_bytes = '1.5 GiB'\n", "t").probe.max_bytes == 1610612736
    )
