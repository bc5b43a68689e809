"""`report` and `check --report`: one file that says it all, and harms nothing on its way."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result

from arraygauge.cli import check as check_command
from arraygauge.cli import report as report_command
from arraygauge.cli.report import since_seconds
from arraygauge.config import load_configuration
from arraygauge.errors import OperatorError
from arraygauge.history import History, open_history
from arraygauge.history.measurements import plain_read_of
from arraygauge.inventory.values import Host
from arraygauge.judge import Grounds, Pace
from arraygauge.service.report import ReportAsked, report_document
from arraygauge.service.report_status import status_of_past
from arraygauge.service.report_totals import totals_of
from unit.cli.report_scene import NOW, live_through, machine, passed, reader_of

HOSTILE = """</td><script>alert(1)</script><img src=http://x/ onerror="a()">'&\u202e"""
DAY = 86400.0


@pytest.fixture
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path / "state"))
    monkeypatch.setattr(report_command, "host_reader", reader_of(machine()))
    return tmp_path / "state" / "history.sqlite"


@pytest.fixture
def lived(state: Path) -> Path:
    live_through(state, machine(), slow=0.5)
    return state


def run(*words: str, command: click.Command = report_command.command) -> Result:
    return CliRunner().invoke(command, words, catch_exceptions=False)


class Reading(HTMLParser):
    """The words of a document, its tags and what they point at."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.feed(html)
        self.text = re.sub(r"\s+", " ", " ".join(self.words))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def document(history: History, there: Host | None = None, **changes: Any) -> Reading:
    plain: dict[str, Any] = {
        "machine": "edit1",
        "host": there or machine(),
        "history": history,
        "grounds": Grounds(),
        "since_seconds": NOW.wall_seconds - 30 * DAY,
        "until_seconds": NOW.wall_seconds,
    }
    return Reading(report_document(ReportAsked(**{**plain, **changes})))


class TestOfTheHistory:
    @pytest.fixture
    def said(self, lived: Path) -> Iterator[str]:
        with open_history(lived) as history:
            yield document(history).text

    def test_it_says_what_the_machine_is(self, said: str) -> None:
        assert "serial-sda" in said
        assert "raid5, 4 members, chunk 512 KiB" in said
        assert "sata ata0 6 Gb/s" in said.replace("SATA", "sata")

    def test_it_says_what_theory_says_and_why(self, said: str) -> None:
        assert "sequential read of 1 MiB" in said
        assert "the bottleneck" in said
        assert "Time for a byte" in said

    def test_it_judges_the_latest_of_what_is_kept(self, said: str) -> None:
        assert "Slower than it should be" in said
        assert "sdb reads 75.0 MB/s where 150 MB/s is expected of it" in said

    def test_a_measurement_has_its_interval_its_temperature_and_its_date(self, said: str) -> None:
        assert "75.0 MB/s (73.5 to 76.5 MB/s)" in said
        assert "36 °C" in said
        assert "the raw device 80 of 80 gave a rate: 75.0 to 150 MB/s, median 150" in said

    def test_it_tells_incidents_and_cautions(self, said: str) -> None:
        assert "no redundancy left" in said
        assert "Only a copy elsewhere is a backup" in said
        assert "ask a recovery professional" in said

    def test_it_says_how_it_was_measured_and_what_that_took(self, said: str) -> None:
        assert "400 measurements were tried in this time and 400 gave a rate" in said
        assert "They read" in said
        assert "wrote 0 B" in said
        assert "Nothing was measured for this report" in said

    def test_it_has_the_plots(self, lived: Path) -> None:
        with open_history(lived) as history:
            reading = document(history)
        labels = " ".join(reading.words)
        assert reading.tags.count("svg") > 3
        assert "Throughput of md0" in labels
        assert "Members of md0" in labels
        assert "From the drives of md0 to the processor" in labels


def test_what_was_not_measured_has_its_reason(state: Path) -> None:
    status = passed(machine(), 0.0, md0="others read from it", sdc="others read from it")
    with open_history(state) as history:
        said = document(history, status=status).text
    assert "md0: others read from it." in said
    assert "sdc: others read from it." in said
    assert "8 measurements" not in said
    assert "5 measurements were tried in this time and 3 gave a rate" in said
    assert "Of one pass over the machine" in said


def test_without_root_it_says_what_that_hides(state: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with open_history(state) as history:
        monkeypatch.setattr(os, "geteuid", lambda: 0)
        assert "without root" not in document(history).text
        monkeypatch.setattr(os, "geteuid", lambda: 1000)
        assert "This report was made without root" in document(history).text


def test_it_fetches_nothing_and_runs_nothing(lived: Path) -> None:
    with open_history(lived) as history:
        reading = document(history)
    assert "script" not in reading.tags
    assert not {"link", "img", "iframe", "object", "embed"} & set(reading.tags)
    pointing = [v for k, v in reading.attributes if k in ("src", "href", "xlink:href", "data")]
    assert pointing == []
    style = " ".join(reading.words)
    assert "@import" not in style
    assert "url(" not in style
    assert not [key for key, _ in reading.attributes if key.startswith("on") or key == "style"]


def test_hostile_names_stay_text(lived: Path) -> None:
    with open_history(lived) as history:
        reading = document(history, machine(model=HOSTILE), machine=HOSTILE, notice=HOSTILE)
    assert {"script", "img"}.isdisjoint(reading.tags)
    assert not [key for key, _ in reading.attributes if key.startswith("on")]
    assert reading.text.count("<script>alert(1)</script>") >= 5


def test_a_machine_of_which_nothing_is_kept_is_described_all_the_same(state: Path) -> None:
    with open_history(state) as history:
        said = document(history).text
    assert "Nothing was kept of this time" in said
    assert "Not measured" in said
    assert "nothing that gave a rate is kept since" in said
    assert "serial-sda" in said


def test_verdicts_on_the_past_are_those_of_a_pass(lived: Path) -> None:
    """What is kept of a measurement is enough for the judge to say the same again."""
    there = machine()
    with open_history(lived) as history:
        window = (NOW.wall_seconds - 30 * DAY, NOW.wall_seconds)
        latest = {
            each.latest.stable_id: each.latest
            for each in totals_of(history, window)
            if each.latest is not None
        }
    again = status_of_past(there, latest, Grounds(), "then")
    then = passed(there, 21600.0, 0.5)
    [verdict], [before] = again.arrays, then.arrays
    assert verdict.pace is before.pace is Pace.SHORT
    assert verdict.odd_members == before.odd_members
    assert verdict.ratio == before.ratio


@pytest.mark.parametrize(
    ("word", "known"),
    [
        ("read-sequential-1048576-16", True),
        ("read-random-4096-1-file", True),
        ("read-sequential-1048576-16-2-streams", False),
        ("write-sequential-1048576-16-file", False),
        ("skipped", False),
        ("", False),
    ],
)
def test_only_plain_reads_are_judged_again(word: str, known: bool) -> None:
    assert (plain_read_of(word) is not None) is known


class TestTheCommand:
    def test_writes_where_it_is_told(self, lived: Path, tmp_path: Path) -> None:
        path = tmp_path / "here.html"
        done = run("--output", str(path), "--days", "30")
        assert done.exit_code == 0
        assert f"Report written to {path}" in done.stderr
        assert path.read_text(encoding="utf-8").startswith("<!doctype html>")
        assert [each.name for each in tmp_path.iterdir() if each.is_file()] == ["here.html"]

    def test_names_the_file_by_machine_and_date(
        self, lived: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.chdir(tmp_path)
        monkeypatch.setattr("platform.node", lambda: "../edit 1")
        run()
        [made] = tmp_path.glob("*.html")
        assert re.fullmatch(r"arraygauge-report----edit-1-\d{4}-\d\d-\d\d\.html", made.name)

    def test_prints_where_asked(self, lived: Path) -> None:
        assert run("--output", "-").stdout.startswith("<!doctype html>")

    def test_without_a_history_it_says_what_to_do(self, state: Path, tmp_path: Path) -> None:
        with pytest.raises(OperatorError, match="nothing was measured yet"):
            run("--output", str(tmp_path / "x.html"))
        assert not state.exists()

    def test_takes_days_or_a_date(self, lived: Path) -> None:
        assert run("--days", "3", "--since", "2026-01-01").exit_code == 2

    def test_a_date_must_lie_in_the_past(self) -> None:
        assert since_seconds("2026-11-01", NOW.wall_seconds + 400 * DAY) > 0
        for wrong in ("soon", "2999-01-01", "1999-01-01"):
            with pytest.raises(click.BadParameter):
                since_seconds(wrong, NOW.wall_seconds)


class Pass:
    """Stands in for a surveyor: its pass is invented, its history real."""

    def __init__(self, history: History) -> None:
        self.configuration = load_configuration(None)
        self.purse = self
        self.history = history
        self.notes: tuple[str, ...] = ()
        self.not_kept: str | None = None

    def survey(self, *_: object) -> Any:
        return passed(machine(), 0.0)


class TestOfAPass:
    @pytest.fixture(autouse=True)
    def invented(self, state: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        @contextmanager
        def surveyor(*_: object, **__: object) -> Iterator[Pass]:
            with open_history(state) as history:
                yield Pass(history)

        monkeypatch.setattr(check_command, "surveyor", surveyor)

    def test_it_is_written_beside_what_is_printed(self, tmp_path: Path) -> None:
        path = tmp_path / "pass.html"
        done = run("--report", str(path), command=check_command.command)
        assert done.exit_code == 0
        assert "md0" in done.stdout
        said = Reading(path.read_text(encoding="utf-8")).text
        assert "Of one pass over the machine" in said
        assert "5 measurements were tried in this time and 5 gave a rate" in said

    def test_a_place_where_none_can_be_written_is_told_before_anything_is_read(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def never(*_: object, **__: object) -> None:
            raise AssertionError("something was measured")

        monkeypatch.setattr(check_command, "surveyor", never)
        with pytest.raises(OperatorError, match="no such directory"):
            run("--report", str(tmp_path / "no" / "r.html"), command=check_command.command)
