"""Battery or mains, from what Documentation/ABI/testing/sysfs-class-power lets supplies say."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arraygauge.inventory.power import read_on_battery
from arraygauge.inventory.tree import Tree

Supply = Mapping[str, str]

MAINS: Supply = {"type": "Mains", "online": "1"}
NO_MAINS: Supply = {"type": "Mains", "online": "0"}
SOCKET: Supply = {"type": "USB", "scope": "System", "online": "0"}
MOUSE: Supply = {"type": "Battery", "scope": "Device", "status": "Discharging", "online": "1"}
TABLET_CABLE: Supply = {"type": "Mains", "scope": "Device", "online": "0"}

WORDS = st.sampled_from(
    ("Battery", "UPS", "Mains", "USB", "Device", "System", "Discharging", "Charging", "Full", "0")
)
FILES = st.sampled_from(("type", "scope", "status", "online", "present"))


def battery(status: str, **files: str) -> Supply:
    return {"type": "Battery", "status": status, "present": "1", **files}


def lay_out(root: Path, supplies: tuple[Supply, ...]) -> Tree:
    for number, files in enumerate(supplies):
        directory = root / f"sys/class/power_supply/invented{number}"
        directory.mkdir(parents=True)
        for name, text in files.items():
            (directory / name).write_text(f"{text}\n", encoding="utf-8")
    return Tree(root=root)


@pytest.mark.parametrize(
    "supplies",
    [
        pytest.param((NO_MAINS, battery("Discharging")), id="a laptop unplugged"),
        pytest.param((battery("Discharging"),), id="no mains described"),
        pytest.param((MAINS, battery("Discharging")), id="mains too weak for the load"),
        pytest.param((NO_MAINS, battery("Full")), id="just unplugged"),
        pytest.param((NO_MAINS, battery("Unknown")), id="a battery that does not say"),
        pytest.param((NO_MAINS, battery("Full"), battery("Discharging")), id="the second of two"),
        pytest.param(({"type": "UPS", "status": "Discharging"},), id="a UPS"),
        pytest.param((SOCKET, SOCKET, battery("Not charging")), id="empty charging sockets"),
    ],
)
def test_on_battery(tmp_path: Path, supplies: tuple[Supply, ...]) -> None:
    assert read_on_battery(lay_out(tmp_path, supplies)) is True


@pytest.mark.parametrize(
    "supplies",
    [
        pytest.param((MAINS, battery("Charging")), id="a laptop plugged in"),
        pytest.param((MAINS, battery("Not charging")), id="full enough"),
        pytest.param((NO_MAINS, {**SOCKET, "online": "2"}, battery("Full")), id="by USB"),
        pytest.param((NO_MAINS, battery("Charging")), id="fed by what is not described"),
        pytest.param((battery("Full"),), id="no mains described"),
        pytest.param((SOCKET, SOCKET), id="a desktop's sockets"),
        pytest.param((NO_MAINS, battery("Discharging", present="0")), id="an empty bay"),
        pytest.param((MAINS, MOUSE), id="a mouse's battery"),
    ],
)
def test_on_mains(tmp_path: Path, supplies: tuple[Supply, ...]) -> None:
    assert read_on_battery(lay_out(tmp_path, supplies)) is False


@pytest.mark.parametrize(
    "supplies",
    [
        pytest.param((), id="no supply"),
        pytest.param((MOUSE, TABLET_CABLE), id="only devices' supplies"),
        pytest.param((battery("Unknown"),), id="a battery that does not say"),
        pytest.param(({"type": "Battery", "online": "x"},), id="rubbish"),
    ],
)
def test_not_told(tmp_path: Path, supplies: tuple[Supply, ...]) -> None:
    assert read_on_battery(lay_out(tmp_path, supplies)) is None


@settings(deadline=None, max_examples=50)
@given(st.lists(st.dictionaries(FILES, WORDS | st.text(max_size=8)), max_size=4))
def test_whatever_supplies_say_there_is_an_answer(supplies: list[Supply]) -> None:
    with tempfile.TemporaryDirectory() as root:
        assert read_on_battery(lay_out(Path(root), tuple(supplies))) in (True, False, None)


def test_this_machine_answers() -> None:
    assert read_on_battery() in (True, False, None)
