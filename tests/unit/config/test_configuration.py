"""The configuration: each mistake is named by file, line, key and reason."""

from __future__ import annotations

from datetime import time
from pathlib import Path

import pytest

from arraygauge.config import Configuration, load_configuration, parse_configuration
from arraygauge.errors import ConfigurationError
from arraygauge.probe.budget import BudgetLimits
from arraygauge.probe.quiet_hours import QuietHours
from arraygauge.service.grounds import endurance_of, grounds_of
from invented import drive, host


def test_an_absent_default_file_gives_the_defaults(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("arraygauge.config.load.SYSTEM_PATH", tmp_path / "none.toml")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert load_configuration(None) == Configuration()


def test_a_service_reads_the_file_in_the_directory_that_systemd_names(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """systemd.exec(5), ConfigurationDirectory=: whatever user it runs as, and whatever the home
    of that user is."""
    (tmp_path / "config.toml").write_text("[run]\nlisten_port = 4242\n")
    monkeypatch.setenv("CONFIGURATION_DIRECTORY", str(tmp_path))
    monkeypatch.setattr("os.geteuid", lambda: 61_184)
    assert load_configuration(None).run.listen_port == 4242


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
        (
            "[probe]\nmax_second = 3\n",
            r"f.toml, line [12]: probe.max_second: ",
            "did you mean 'max_seconds'",
        ),
        ("[probe]\nlongest_burst_seconds = 0.2\n", r"probe.longest_burst_seconds: ", "mend"),
        ("[probe]\ninterval_half_width = 0.5\n", r"probe.interval_half_width: ", "mend"),
        ("[probe]\nmax_seconds = 61\n", r"probe.max_seconds: ", "mend"),
        ("[proobe]\n", r"f.toml, line [12]: proobe: ", "did you mean 'probe'"),
        (
            "[run]\nquux = 1\n",
            r"f.toml, line [12]: run.quux: ",
            "known keys here are interval_seconds",
        ),
        (
            "[run]\ninterval_seconds = 0\n",
            r"f.toml, line [12]: run.interval_seconds: ",
            "mend that value",
        ),
        (
            "[budget]\nhour_byte = 1\n",
            r"f.toml, line [12]: budget.hour_byte: ",
            "did you mean 'hour_bytes'",
        ),
        ("[budget]\nhour_bytes = '0 GiB'\n", r"budget.hour_bytes: .*greater than 0", "mend"),
        ("[budget]\nday_bytes = '4 GiB'\n", r"budget: .*more than day_bytes", "mend"),
        ("[budget]\nday_seconds = 5\n", r"budget: .*more than day_seconds", "mend"),
        ("[budget]\nquiet_hours = ['22-6']\n", r"budget.quiet_hours\[1\]: .*'22-6'", "mend"),
        ("[budget]\nquiet_hours = [22]\n", r"budget.quiet_hours\[1\]: .*like '22:00-", "mend"),
        ("[budget]\nquiet_hours = '1:00-2:00'\n", r"budget.quiet_hours: .*valid tuple", "mend"),
        ("[budget]\nendurance_share_per_year = 0.5\n", r"budget.endurance_share_per_year", "mend"),
        (
            "[[drive]]\nmatch='a'\nread_mb_per_second=1\nendurance_terabytes_written=0\n",
            r"drive\[1\].endurance_terabytes_written: .*greater than 0",
            "mend",
        ),
        (
            "[[drive]]\nmatch='a'\n",
            r"drive\[1\]: .*read_mb_per_second, endurance_terabytes_written or both",
            "mend",
        ),
        ("[[drive]]\nmatch='a'\nwrite_mb_per_second=1\n", r"read_mb_per_second as well", "mend"),
        ("[write_probe]\nenable = true\n", r"write_probe.enable: ", "did you mean 'enabled'"),
        ("[write_probe]\nenabled = true\n", r"write_probe: .*name directories", "mend"),
        ("[probe]\nmax_bytes = '3 bits'\n", r"probe.max_bytes: .*'3 bits' is not a size", "mend"),
        ("run = [\n", r"f.toml: not valid TOML", "mend that line"),
        ("[[uplink]]\nname='a'\ndevices=['b']\n", r"uplink\[1\]: .*give either", "mend"),
        (
            "[[uplink]]\nname='a'\ndevices=['b']\nlane=4\n",
            r"uplink\[1\].lane",
            "did you mean 'lanes'",
        ),
    ],
)
def test_mistakes_name_file_key_and_remedy(text: str, message: str, remedy: str) -> None:
    with pytest.raises(ConfigurationError, match=message) as caught:
        parse_configuration(text, "f.toml")
    assert remedy in caught.value.remedy


def test_all_mistakes_are_told_at_once_each_with_its_line_and_remedy() -> None:
    text = """# ours
[probe]
max_second = 3

[budget]
quiet_hours = [
    "09:00-12:30",
    22,
]
hour_bytes = "0 GiB"

[[drive]]
match = "a"
read_mb_per_second = 500

[[drive]]
read_mb_per_second = -1
"""
    with pytest.raises(ConfigurationError) as caught:
        parse_configuration(text, "f.toml")
    head, *told = caught.value.message.split("\n")
    assert head == "f.toml: 5 mistakes"
    assert told == [
        "  line 3: probe.max_second: there is no such key; did you mean 'max_seconds'?",
        "  line 6: budget.quiet_hours[2]: write a text like '22:00-06:00'; mend that value",
        "  line 10: budget.hour_bytes: Input should be greater than 0; mend that value",
        "  line 16: drive[2].match: it is missing; add it",
        "  line 17: drive[2].read_mb_per_second: Input should be greater than 0; mend that value",
    ]
    assert caught.value.remedy == "mend each of them"


def test_what_holds_between_sections_has_no_line() -> None:
    with pytest.raises(ConfigurationError, match=r"^f.toml: the file: run.listen_address"):
        parse_configuration('[run]\nlisten_address = "192.0.2.1"\n', "f.toml")


def test_a_rate_is_wanted_within_three_per_cent_unless_configured() -> None:
    assert Configuration().probe.interval_half_width == 0.03
    text = "[probe]\ninterval_half_width = 0.01\nlongest_burst_seconds = 2\nmax_seconds = 20\n"
    probe = parse_configuration(text, "t").probe
    assert (probe.interval_half_width, probe.longest_burst_seconds) == (0.01, 2.0)
    assert probe.max_seconds == 20.0


def test_sizes_may_be_written_with_units() -> None:
    assert (
        parse_configuration("[probe]\nmax_bytes = '1.5 GiB'\n", "t").probe.max_bytes == 1610612736
    )


def test_an_absent_budget_is_the_cautious_default() -> None:
    assert Configuration().budget.limits() == BudgetLimits()


def test_a_budget_of_one_s_own() -> None:
    text = (
        '[budget]\nhour_bytes = "2 GiB"\nhour_seconds = 20\nday_bytes = "10 GiB"\n'
        'day_seconds = 100\nendurance_share_per_year = 0\nquiet_hours = ["22:00-06:00"]\n'
    )
    configuration = parse_configuration(text, "test")
    assert configuration.budget.limits() == BudgetLimits(
        hour_bytes=2 * 2**30,
        hour_seconds=20.0,
        day_bytes=10 * 2**30,
        day_seconds=100.0,
        endurance_share_per_year=0.0,
        quiet_hours=(QuietHours(start=time(22, 0), end=time(6, 0)),),
    )
    assert hash(configuration)  # what is derived from it once is remembered by it


def test_a_drive_s_rated_endurance_is_in_terabytes() -> None:
    text = (
        '[[drive]]\nmatch = "serial-1"\nread_mb_per_second = 500\n'
        "endurance_terabytes_written = 600\n"
    )
    [section] = parse_configuration(text, "test").drive
    assert section.endurance_terabytes_written == 600


def test_endurance_alone_says_nothing_of_its_rates() -> None:
    text = '[[drive]]\nmatch = "serial-sda"\nendurance_terabytes_written = 600\n'
    configuration, snapshot = parse_configuration(text, "test"), host(drives=[drive("sda")])
    assert grounds_of(configuration, snapshot).rated == {}
    assert endurance_of(configuration, snapshot) == {"invented-sda": 600 * 10**12}


def test_writing_is_off_unless_enabled() -> None:
    assert not Configuration().write_probe.enabled
