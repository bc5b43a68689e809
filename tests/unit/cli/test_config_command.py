"""`arraygauge config`: mistakes, and declarations of what is not there."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from arraygauge.cli.config import command
from arraygauge.cli.main import main
from arraygauge.config import parse_configuration
from arraygauge.inventory.values import Level
from arraygauge.service.grounds import idle_declarations
from invented import array, drive, host, member

DECLARED = """
[[drive]]
match = "sda"
read_mb_per_second = 500
[[drive]]
match = "S0LD"
read_mb_per_second = 500
[[uplink]]
name = "here"
devices = ["sd[a-z]"]
read_mb_per_second = 3000
[[uplink]]
name = "gone"
devices = ["nvme*"]
read_mb_per_second = 3000
[[footage]]
array = "md0"
megabits_per_second = 100
[[footage]]
array = "md9"
megabits_per_second = 100
"""


@pytest.fixture
def runner() -> CliRunner:
    return CliRunner()


def test_what_is_declared_of_devices_elsewhere_is_told_and_nothing_else() -> None:
    machine = host([array(Level.RAID0, [member("sda", 0)])], [drive("sda")])
    idle = idle_declarations(parse_configuration(DECLARED, "a file"), machine)
    assert idle == (
        "[[drive]] match = 'S0LD'",
        "[[uplink]] 'gone'",
        "[[footage]] array = 'md9'",
    )


def test_a_right_file_is_said_to_be_so(runner: CliRunner, tmp_path: Path) -> None:
    file = tmp_path / "config.toml"
    file.write_text('[[drive]]\nmatch = "N0WH3R3"\nread_mb_per_second = 500\n')
    done = runner.invoke(command, ["check", str(file)])
    assert done.exit_code == 0
    assert done.output.splitlines() == [
        f"{file}: no mistake",
        "  [[drive]] match = 'N0WH3R3': nothing of this machine is meant by it",
    ]


def test_every_mistake_is_told_with_its_line_and_the_status_is_2(
    runner: CliRunner, tmp_path: Path
) -> None:
    file = tmp_path / "config.toml"
    file.write_text("[run]\nlisten_port = 70000\n[probe]\nmax_second = 3\n")
    done = runner.invoke(main, ["config", "check", str(file)])
    assert done.exit_code == 2
    assert "line 2: run.listen_port" in done.output
    assert "line 4: probe.max_second" in done.output
    assert "did you mean 'max_seconds'?" in done.output


def test_a_file_that_was_named_and_is_not_there_is_a_mistake(
    runner: CliRunner, tmp_path: Path
) -> None:
    done = runner.invoke(main, ["config", "check", str(tmp_path / "none.toml")])
    assert done.exit_code == 2
    assert "no such file" in done.output


def test_where_there_is_none_the_defaults_hold(
    runner: CliRunner, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    nowhere = tmp_path / "config.toml"
    monkeypatch.setattr("arraygauge.config.load.SYSTEM_PATH", nowhere)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "none"))
    done = runner.invoke(main, ["config", "check"])
    assert done.exit_code == 0
    assert "every default holds" in done.output


def test_all_keys_are_shown(runner: CliRunner) -> None:
    text = runner.invoke(command, ["reference"]).output
    assert "# interval_seconds = 3600\n" in text
    page = runner.invoke(command, ["reference", "--markdown"]).output
    assert page.startswith("# Configuration\n")
