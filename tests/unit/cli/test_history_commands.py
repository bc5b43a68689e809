"""`history` and `incidents` on a history made for the purpose, run as a person would."""

from __future__ import annotations

import json
import time
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from arraygauge.cli import accept_baseline as accept_command
from arraygauge.cli import history as history_command
from arraygauge.cli import incidents as incidents_command
from arraygauge.cli.incidents import until_seconds
from arraygauge.errors import OperatorError
from arraygauge.history import (
    Channel,
    Measurements,
    Outbox,
    Pen,
    Records,
    open_history,
    records_of,
)
from arraygauge.history.drift_rows import DriftRows, asked_to_accept
from arraygauge.history.moment import Moment
from arraygauge.history.silences import silences_at
from arraygauge.history.stalls import StallRecord, Stalls
from arraygauge.inventory.values import Level
from arraygauge.judge.drifting import observe_drift
from arraygauge.judge.incidents import IncidentBook, advance
from arraygauge.tell.incident_json import words_for
from unit.history.test_measurements import record
from unit.history.troubles import finding, looked
from unit.judge.drifting_machine import Machine

NOW = Moment(wall_seconds=time.time(), uptime_seconds=9000.0, boot_id="invented")


@pytest.fixture
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    return tmp_path / "history.sqlite"


@pytest.fixture
def lived(state: Path) -> Path:
    """Ten days of measurements; one incident is over, one is open."""
    with open_history(state) as history:
        pen = Pen(history)
        Measurements(pen).add(
            record(NOW.wall_seconds - day * 86400, rate=150e6 - day * 1e6) for day in range(10)
        )
        records = Records(pen, Outbox(pen))
        book = IncidentBook()
        for at, found in ((0.0, "sdc"), (10.0, ""), (13.0, ""), (20.0, "sdd")):
            observation = looked(finding(found)) if found else looked()
            book, changes = advance(book, observation, NOW.uptime_seconds - 100 + at)
            records.record(
                changes,
                lambda change: words_for(
                    "invented", lambda m: NOW.wall_seconds - NOW.uptime_seconds + m, change
                ),
                [Channel(name="hook")],
                NOW,
            )
    return state


def run(command: click.Command, *words: str) -> Result:
    return CliRunner().invoke(command, words, catch_exceptions=False)


def test_without_a_history_it_says_what_to_do(state: Path) -> None:
    with pytest.raises(OperatorError, match="nothing was measured yet"):
        run(history_command.command)
    assert not state.exists()


def test_all_that_was_measured_is_listed(lived: Path) -> None:
    done = run(history_command.command)
    assert "sda" in done.output
    assert "invented-a" in done.output
    document = json.loads(run(history_command.command, "--json").output)
    assert document["format"] == "arraygauge.history/1"
    assert document["devices"][0]["stable_id"] == "invented-a"


def test_one_device_is_plotted_with_its_latest_measurements(lived: Path) -> None:
    output = run(history_command.command, "sda").output
    assert "10 points; shaded: what was expected" in output
    assert any(0x2800 < ord(letter) <= 0x28FF for letter in output)
    assert "150 MB/s" in output
    assert "37 °C" in output


def test_a_script_gets_base_units(lived: Path) -> None:
    document = json.loads(run(history_command.command, "invented-a", "--json").output)
    assert len(document["measurements"]) == 10
    assert document["measurements"][-1]["rate"] == 150e6


def test_only_so_many_days_are_shown(lived: Path) -> None:
    document = json.loads(run(history_command.command, "sda", "--days", "2.5", "--json").output)
    assert len(document["measurements"]) == 3


def test_stalls_of_all_drives_and_of_one_are_shown_in_milliseconds_and_frames(lived: Path) -> None:
    at = NOW.wall_seconds - 60
    with open_history(lived) as history:
        Stalls(Pen(history)).add(
            StallRecord(
                stable_id=stable_id,
                name=name,
                began_at_seconds=at,
                milliseconds=milliseconds,
                error_milliseconds=125,
                in_flight=2,
                hang=milliseconds >= 3000,
                frames_per_second=25.0,
            )
            for stable_id, name, milliseconds in (
                ("invented-a", "sda", 800),
                ("invented-b", "sdb", 3200),
            )
        )
    everyone = run(history_command.command).output
    assert "800 ms ± 125" in everyone
    assert "80 frames at 25 a second, a hang" in everyone
    alone = run(history_command.command, "sda").output
    assert "20 frames at 25 a second" in alone
    assert "3200 ms" not in alone
    document = json.loads(run(history_command.command, "sda", "--json").output)
    assert [each["milliseconds"] for each in document["stalls"]] == [800]


@pytest.fixture
def learned(state: Path) -> Path:
    """An agent has learned what is usual of four drives and their array, and one drifts."""
    machine = Machine(level=Level.RAID1)
    memory = machine.lived()
    for _ in range(12):
        _, memory = observe_drift(machine.status({"sdc": 0.1}), memory)
    with open_history(state) as history:
        pen = Pen(history)
        DriftRows(pen, lambda: NOW).keep(memory)
        Measurements(pen).add(records_of(machine.status()))
    return state


def test_whether_drift_would_be_seen_is_shown_of_all_and_how_it_is_of_one(learned: Path) -> None:
    listed = " ".join(run(history_command.command).output.split())
    assert "watching" in listed
    assert "drifts, 10." in listed or "drifts, 9." in listed
    one = run(history_command.command, "sdc").output
    assert "usual 200 MB/s ± 1." in one
    assert "●" in one
    [watched] = json.loads(run(history_command.command, "sdc", "--json").output)["watched"]
    assert watched["drift"]["shape"] == "step"


def test_accepting_leaves_word_for_the_agent(learned: Path) -> None:
    done = run(accept_command.command, "sdc")
    assert done.output.startswith("What sdc does now is taken as usual.")
    with open_history(learned) as history:
        assert asked_to_accept(history) == ("invented-sdc",)


def test_only_what_is_watched_can_be_accepted(lived: Path, learned: Path) -> None:
    with pytest.raises(OperatorError, match="sdz: never measured"):
        run(accept_command.command, "sdz")
    with pytest.raises(OperatorError, match="nothing is learned of it yet"):
        run(accept_command.command, "invented-a")


def test_a_name_that_was_never_measured_is_named(lived: Path) -> None:
    with pytest.raises(OperatorError, match="sdz: never measured"):
        run(history_command.command, "sdz")


def test_open_incidents_are_shown_whole_and_past_ones_in_a_line(lived: Path) -> None:
    output = " ".join(run(incidents_command.command).output.split())
    assert "2 critical md0: no redundancy left, sdd is missing" in output
    assert "copy what matters now" in output
    assert "Past: 1 " in output


def test_a_script_gets_the_same_in_one_document(lived: Path) -> None:
    document = json.loads(run(incidents_command.command, "--json").output)
    assert document["format"] == "arraygauge.incidents/1"
    [is_open, over] = document["incidents"]
    assert (is_open["number"], is_open["closed_at_seconds"]) == (2, None)
    assert [each["change"] for each in over["changes"]] == ["opened", "closed"]
    assert over["closed_at_seconds"] is not None


def test_a_silence_is_made_shown_and_ended(lived: Path) -> None:
    done = run(incidents_command.command, "silence", "2", "--until", "8h")
    assert done.output.startswith("Nobody is told of incident 2 until")
    assert "(silent)" in run(incidents_command.command).output
    with open_history(lived) as history:
        [kept] = silences_at(history, time.time())
    assert kept.cause_id == "invented-sdd"
    assert kept.until_seconds == pytest.approx(time.time() + 8 * 3600, abs=60)
    run(incidents_command.command, "silence", "2", "--end")
    assert "(silent)" not in run(incidents_command.command).output


def test_everything_can_be_silent(lived: Path) -> None:
    run(incidents_command.command, "silence", "all", "--until", "30m")
    assert "Nobody is told of anything until" in run(incidents_command.command).output


def test_an_incident_that_is_not_there_is_named(lived: Path) -> None:
    with pytest.raises(OperatorError, match="99: no incident"):
        run(incidents_command.command, "silence", "99", "--until", "8h")


@pytest.mark.parametrize("text", ["", "h", "8", "8x", "-1h", "2000-01-01T00:00", "9999d", "nanh"])
def test_a_time_that_is_none_or_not_to_come_is_refused(text: str) -> None:
    with pytest.raises(click.BadParameter):
        until_seconds(text, 1.8e9)


def test_spans_and_local_times_are_understood() -> None:
    assert until_seconds("90m", 1.8e9) == 1.8e9 + 5400
    assert until_seconds("2d", 1.8e9) == 1.8e9 + 2 * 86400
    local = time.strftime("%Y-%m-%dT%H:%M:%S", time.localtime(1.8e9 + 60))
    assert until_seconds(local, 1.8e9) == 1.8e9 + 60
