"""`arraygauge plan` as a script sees it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from arraygauge.cli.status import Exit
from unit.cli.test_cli import arraygauge

FILE = """
[[drive]]
name = "bay"
count = 4
size = "16 TB"
read_mb_per_second = 250
write_mb_per_second = 240
rotational = true

[[uplink]]
name = "hba"
devices = ["bay*"]
read_mb_per_second = 600
"""


@pytest.fixture
def paper(tmp_path: Path) -> Path:
    path = tmp_path / "four.toml"
    path.write_text(FILE)
    return path


def test_drives_on_paper_are_planned(paper: Path) -> None:
    done = arraygauge("plan", "--file", str(paper))
    assert done.returncode == Exit.FINE, done.stderr
    assert "4 drives" in done.stdout
    assert "hba: 600 MB/s both ways at once (declared), shared by 4" in done.stdout
    assert "▸ raid" in done.stdout


def test_the_document_is_json(paper: Path) -> None:
    document = json.loads(arraygauge("plan", "--file", str(paper), "--json").stdout)
    assert document["format"] == "arraygauge.plan/1"
    assert [drive["name"] for drive in document["drives"]] == ["bay1", "bay2", "bay3", "bay4"]


def test_options_narrow_the_plan_and_change_the_work(paper: Path) -> None:
    done = arraygauge(
        *("plan", "--file", str(paper), "--json", "--level", "raid5", "--members", "4"),
        *("--random", "--transfer", "64 KiB", "--depth", "4", "--streams", "2"),
    )
    document = json.loads(done.stdout)
    options = [*document["best"], *document["others"]]
    assert {each["level"] for each in options} == {"raid5"}
    assert {len(each["members"]) for each in options} == {4}
    work = document["asked"]["write"]
    assert (work["access"], work["transfer_bytes"], work["queue_depth"], work["streams"]) == (
        *("random", 65536),
        *(4, 2),
    )


def test_what_if_another_uplink_a_port_more_and_faster_drives(paper: Path) -> None:
    def best_read(*words: str) -> float:
        done = arraygauge(
            *("plan", "--file", str(paper), "--json", "--level", "raid0", "--depth", "64"), *words
        )
        return float(json.loads(done.stdout)["best"][0]["read"]["ceiling_bytes_per_second"])

    assert best_read() == pytest.approx(600e6)
    assert best_read("--what-if-link", "hba=800") == pytest.approx(800e6)
    assert best_read("--what-if-port", "hba") == pytest.approx(1000e6)
    wider = ("--what-if-link", "hba=9000")
    assert best_read(*wider, "--what-if-faster", "2") == pytest.approx(2000e6)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--what-if-link", "hba"), "write NAME=MB/s"),
        (("--what-if-link", "hba=0"), "write NAME=MB/s"),
        (("--what-if-link", "hba=nan"), "write NAME=MB/s"),
        (("--what-if-link", "hbb=900"), "hbb: there is no such link"),
        (("--what-if-port", "hbb"), "there is hba"),
        (("--transfer", "3"), "a transfer is a whole number"),
        (("sda",), "name DEVICES or a --file, not both"),
    ],
)
def test_mistakes_are_told_with_their_remedy(
    paper: Path, words: tuple[str, ...], message: str
) -> None:
    done = arraygauge("plan", "--file", str(paper), *words)
    assert done.returncode == Exit.USAGE_ERROR
    assert message in done.stderr
    assert "Traceback" not in done.stderr


def test_a_mistake_in_the_file_is_named_by_line_and_key(tmp_path: Path) -> None:
    path = tmp_path / "wrong.toml"
    path.write_text('[[drive]]\nsize = "1 TB"\nread_mb_per_secnd = 1\nread_mb_per_second = 1\n')
    done = arraygauge("plan", "--file", str(path))
    assert done.returncode == Exit.USAGE_ERROR
    assert f"{path}, line 3: drive[1].read_mb_per_secnd" in done.stderr
    assert "did you mean 'read_mb_per_second'?" in done.stderr


def test_a_single_drive_cannot_be_planned_and_the_status_says_so(tmp_path: Path) -> None:
    path = tmp_path / "one.toml"
    path.write_text('[[drive]]\nsize = "1 TB"\nread_mb_per_second = 1\n')
    done = arraygauge("plan", "--file", str(path))
    assert done.returncode == Exit.NOT_MEASURED
    assert "the fewest are two drives" in done.stdout


def test_an_unknown_drive_of_this_machine_is_named() -> None:
    done = arraygauge("plan", "nosuchdisk")
    assert done.returncode == Exit.USAGE_ERROR
    assert "nosuchdisk: this machine has no such drive or array" in done.stderr
