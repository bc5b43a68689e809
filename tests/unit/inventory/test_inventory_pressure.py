"""/proc/pressure/io, as Documentation/accounting/psi.rst describes it."""

from __future__ import annotations

import errno
import os
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.pressure import Pressure, parse_pressure, read_io_pressure
from arraygauge.inventory.tree import Tree

SEEN = (
    "some avg10=0.00 avg60=0.00 avg300=0.03 total=115033733\n"
    "full avg10=0.00 avg60=0.00 avg300=0.02 total=46052520\n"
)
"""Read on a Linux 6.18 machine."""


@pytest.fixture
def tree(tmp_path: Path) -> Tree:
    (tmp_path / "proc/pressure").mkdir(parents=True)
    (tmp_path / "proc/pressure/io").write_text(SEEN, encoding="ascii")
    return Tree(root=tmp_path)


def test_totals_are_microseconds(tree: Tree) -> None:
    """'The total absolute stall time (in us)': psi.rst."""
    assert read_io_pressure(tree) == Pressure(some_seconds=115.033733, full_seconds=46.052520)


def test_a_file_without_the_full_line_tells_of_some() -> None:
    """As the cpu file of older kernels; from memory, before Linux 5.13."""
    assert parse_pressure(SEEN.splitlines()[0]) == Pressure(
        some_seconds=115.033733, full_seconds=None
    )


def test_fields_of_a_later_kernel_are_passed_over() -> None:
    text = "some new=1 total=2000000 newer=3\nfull total=1000000\nnone total=5\n"
    assert parse_pressure(text) == Pressure(some_seconds=2, full_seconds=1)


def test_a_kernel_built_without_pressure_has_none(tmp_path: Path) -> None:
    assert read_io_pressure(Tree(root=tmp_path)) is None


def test_a_kernel_booted_without_pressure_has_none(
    tree: Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The files are there and answer EOPNOTSUPP."""

    def refuse(*_arguments: object) -> int:
        raise OSError(errno.EOPNOTSUPP, "Operation not supported")

    monkeypatch.setattr(os, "open", refuse)
    assert read_io_pressure(tree) is None


@pytest.mark.parametrize(
    "text", ["", "full avg10=0.00 total=1", "some avg10=0.00", "some total=-1"]
)
def test_a_text_without_the_total_of_some_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="no total"):
        parse_pressure(text)


@given(st.text())
def test_any_text_is_parsed_or_refused(text: str) -> None:
    with suppress(ValueError):
        parse_pressure(text)


@given(st.integers(0, len(SEEN)), st.text("0123456789 =total\n٣", max_size=40))
def test_any_damage_is_parsed_or_refused(at: int, junk: str) -> None:
    with suppress(ValueError):
        parse_pressure(SEEN[:at] + junk + SEEN[at + 1 :])


def test_this_machine_s_pressure_only_grows() -> None:
    first, second = read_io_pressure(), read_io_pressure()
    if first is None or second is None:
        pytest.skip("this kernel has no I/O pressure")
    assert 0 <= first.some_seconds <= second.some_seconds
