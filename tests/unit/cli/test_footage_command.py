"""`arraygauge footage` on the command line."""

from __future__ import annotations

import json
from collections.abc import Sequence
from fractions import Fraction

import pytest
from click.testing import CliRunner, Result

from arraygauge.cli.main import main


def run(arguments: Sequence[str]) -> Result:
    return CliRunner().invoke(main, ["footage", *arguments])


def test_without_anything_it_lists_codecs_and_pictures() -> None:
    result = run([])
    assert result.exit_code == 0
    assert "VC-3 HQX" in result.output
    assert "v4l2-dv-timings.h" in result.output
    assert json.loads(run(["--json"]).output)["codecs"]


def test_it_says_what_footage_needs() -> None:
    asked = ["--codec", "vc-3 hqx", "--raster", "UHD", "--rate", "29.97", "--streams", "2"]
    result = run([*asked, "--headroom", "0"])
    assert result.exit_code == 0
    assert "873.05 Mb/s (109 MB/s)" in result.output
    assert "1746.1 Mb/s (218 MB/s)" in result.output
    document = json.loads(run([*asked, "--json"]).output)
    exact = document["footage"][0]["stream"]["bits_per_second_exact"]
    assert document["footage"][0]["streams"] == 2
    assert Fraction(exact) == 3641344 * 8 * Fraction(30000, 1001)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--codec", "DV25"], "give --codec, --raster and --rate, or --megabits alone"),
        (["--megabits", "4", "--raster", "UHD"], "or --megabits alone"),
        (["--megabits", "0"], "--megabits"),
        (["--streams", "0"], "--streams"),
        (["--megabits", "4", "--headroom", "1"], "--headroom"),
        (["--codec", "DV26", "--raster", "576", "--rate", "25"], "did you mean 'DV25'"),
        (["--codec", "DV25", "--raster", "576", "--rate", "24"], "not known at 24"),
        (["--megabits", "4", "--transfer", "8 MiB"], "from 256 KiB to 4 MiB"),
        (["--megabits", "4", "--transfer", "much"], "'much' is not a size"),
        (["md-none"], "md-none: this machine has no such array"),
        (["md-none", "--megabits", "4"], "md-none: this machine has no such array"),
    ],
)
def test_each_mistake_is_told_without_a_traceback(arguments: list[str], words: str) -> None:
    result = run(arguments)
    assert result.exit_code == 2
    assert words in result.output
    assert "Traceback" not in result.output
