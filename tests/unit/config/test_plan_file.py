"""The file of `arraygauge plan`: drives on paper; each mistake is named with its remedy."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arraygauge.config.model import UplinkSection
from arraygauge.config.plan_file import (
    ASSUMED_LATENCY_SECONDS,
    MOST_DRIVES,
    PaperDriveSection,
    load_plan_file,
    parse_plan_file,
)
from arraygauge.errors import ConfigurationError
from arraygauge.inventory.values import Level
from arraygauge.theory import Source
from arraygauge.theory.conditions import POSITIONING_SECONDS
from arraygauge.theory.plan import Option, Supply, predict
from arraygauge.units import KIB

DRIVE = '[[drive]]\nname = "bay"\nsize = "16 TB"\nread_mb_per_second = 250\n'


def test_drives_alike_are_numbered() -> None:
    supply = parse_plan_file(DRIVE + "count = 3\n", "f.toml").supply()
    assert [drive.name for drive in supply.drives] == ["bay1", "bay2", "bay3"]
    assert all(drive.size_bytes == 16 * 10**12 for drive in supply.drives)


def test_a_single_drive_keeps_its_name() -> None:
    assert [each.name for each in parse_plan_file(DRIVE, "f").supply().drives] == ["bay"]


def test_what_is_not_given_is_assumed_and_says_so() -> None:
    [solid] = parse_plan_file(DRIVE, "f").supply().drives
    [disk] = parse_plan_file(DRIVE + "rotational = true\n", "f").supply().drives
    assert solid.rate.write_bytes_per_second is None
    assert solid.write_source is Source.ASSUMED
    assert solid.timing_source is disk.timing_source is Source.ASSUMED
    assert (solid.rate.operation_seconds, solid.rate.latency_seconds) == (
        0.0,
        ASSUMED_LATENCY_SECONDS,
    )
    assert (disk.rate.operation_seconds, disk.rate.latency_seconds) == (POSITIONING_SECONDS, 0.0)


def test_what_is_given_is_rated() -> None:
    text = DRIVE + "write_mb_per_second = 240\nrotational = true\nmove_ms = 9\n"
    [drive] = parse_plan_file(text, "f").supply().drives
    assert drive.rate.write_bytes_per_second == 240e6
    assert drive.rate.operation_seconds == pytest.approx(9e-3)
    assert drive.write_source is drive.timing_source is Source.RATED


def test_an_uplink_carries_the_drives_its_patterns_match() -> None:
    """Two lanes of 6 Gb/s with 8b/10b carry 1200 MB/s (SATA's encoding; arithmetic)."""
    text = (
        DRIVE + "count = 2\n"
        '[[drive]]\nname = "other"\nsize = "1 TB"\nread_mb_per_second = 500\n'
        '[[uplink]]\nname = "bridge"\ndevices = ["bay*"]\nencoding = "8b/10b"\nlanes = 2\n'
        "gigatransfers_per_second = 6\nfull_duplex = false\n"
    )
    [link] = parse_plan_file(text, "f").supply().links
    assert link.members == ("bay1", "bay2")
    assert link.read_bytes_per_second == pytest.approx(1200e6)
    assert not link.full_duplex


def test_four_fast_devices_behind_an_uplink_of_four_lanes() -> None:
    """3938 MB/s in all before packets (the kernel's PCIE_SPEED2MBS_ENC; arithmetic)."""
    text = (
        '[[drive]]\nname = "n"\ncount = 4\nsize = "4 TB"\nread_mb_per_second = 3500\n'
        '[[uplink]]\nname = "chipset"\ndevices = ["n*"]\nencoding = "128b/130b"\nlanes = 4\n'
        "gigatransfers_per_second = 8\n"
    )
    supply = parse_plan_file(text, "f").supply()
    stripes = Option(level=Level.RAID0, members=("n1", "n2", "n3", "n4"), chunk_bytes=512 * KIB)
    found = predict(supply, stripes)
    assert found.read.ceiling_bytes_per_second == pytest.approx(3938.46e6, rel=1e-4)
    assert found.read.bottleneck.name == "chipset"


@pytest.mark.parametrize(
    ("text", "message", "remedy"),
    [
        ("", "drive: it is missing", "add it"),
        ("drive = []\n", "no drives: give at least one [[drive]]", "mend"),
        (DRIVE + "sise = 3\n", "there is no such key", "did you mean 'size'"),
        ("[[drive]]\n", "drive[1].size: it is missing", "mend each"),
        (DRIVE + "count = 0\n", "drive[1].count", "mend"),
        (DRIVE + "count = 65\n", "drive[1].count", "mend"),
        (DRIVE.replace("16 TB", "16 fathoms"), "is not a size: write a number and one of", "mend"),
        (DRIVE.replace("250", "0"), "greater than 0", "mend"),
        (DRIVE.replace("250", "inf"), "drive[1].read_mb_per_second", "mend"),
        (DRIVE + "move_ms = 9\n", "say rotational = true as well", "mend"),
        (DRIVE + DRIVE, "2 drives are called 'bay'", "mend"),
        (
            DRIVE + "count = 40\n" + DRIVE.replace("bay", "box") + "count = 40\n",
            f"80 drives: a plan looks at {MOST_DRIVES} at most",
            "mend",
        ),
        (
            DRIVE + '[[uplink]]\nname = "hba"\ndevices = ["sd*"]\nread_mb_per_second = 1\n',
            "no drive is behind uplink 'hba': its devices match none of bay",
            "mend",
        ),
        (
            DRIVE + '[[uplink]]\nname = "h"\ndevices = ["*"]\nread_mb_per_second = 1\n' * 2,
            "two uplinks are called 'h'",
            "mend",
        ),
        ("[[drive]\n", "not valid TOML", "mend that line"),
    ],
)
def test_each_mistake_is_named_with_its_remedy(text: str, message: str, remedy: str) -> None:
    with pytest.raises(ConfigurationError) as raised:
        parse_plan_file(text, "f.toml")
    assert raised.value.message.startswith("f.toml")
    assert message in raised.value.message
    assert remedy in f"{raised.value.message} {raised.value.remedy}"


def test_a_file_that_is_not_there_or_no_text(tmp_path: Path) -> None:
    with pytest.raises(ConfigurationError, match="no such file"):
        load_plan_file(tmp_path / "none.toml")
    (tmp_path / "picture.toml").write_bytes(b"\xff\xd8\xff")
    with pytest.raises(ConfigurationError, match="cannot be read"):
        load_plan_file(tmp_path / "picture.toml")
    with pytest.raises(ConfigurationError, match="cannot be read"):
        load_plan_file(tmp_path)


VALUES = st.one_of(
    st.integers(-3, 10**6).map(str),
    st.floats().map(str),
    st.sampled_from(["true", '"x"', '"1 TB"', "[]", '["*"]', "{}", '"128b/130b"', '"bay*"']),
)
KEYS = st.sampled_from(
    [*PaperDriveSection.model_fields, *UplinkSection.model_fields, "mb_per_second", "unknown"]
)
SECTIONS = st.tuples(
    st.sampled_from(["[[drive]]", "[[uplink]]", "[parity]", "[drive]", "[other]"]),
    st.dictionaries(KEYS, VALUES, max_size=6),
)


@settings(max_examples=300, deadline=None)
@given(st.lists(SECTIONS, max_size=4))
def test_any_sections_make_a_supply_or_a_mistake_that_is_explained(
    sections: list[tuple[str, dict[str, str]]],
) -> None:
    text = "".join(
        f"{header}\n" + "".join(f"{key} = {value}\n" for key, value in keys.items())
        for header, keys in sections
    )
    mistake, supply = _read(text)
    if supply is None:
        assert mistake.startswith("f.toml")
        return
    assert 1 <= len(supply.drives) <= MOST_DRIVES
    assert all(drive.rate.read_bytes_per_second > 0 for drive in supply.drives)
    assert all(link.members for link in supply.links)


def _read(text: str) -> tuple[str, Supply | None]:
    try:
        return "", parse_plan_file(text, "f.toml").supply()
    except ConfigurationError as error:
        return error.message, None


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=80))
def test_no_text_brings_the_parser_down(text: str) -> None:
    with pytest.raises(ConfigurationError):
        parse_plan_file(text, "f.toml")


@settings(max_examples=200, deadline=None)
@given(
    count=st.integers(1, MOST_DRIVES),
    read=st.floats(1, 20_000),
    write=st.none() | st.floats(1, 20_000),
    terabytes=st.integers(1, 60),
)
def test_what_is_written_is_what_is_read(
    count: int, read: float, write: float | None, terabytes: int
) -> None:
    written = "" if write is None else f"write_mb_per_second = {write!r}\n"
    text = (
        f'[[drive]]\ncount = {count}\nsize = "{terabytes} TB"\n'
        f"read_mb_per_second = {read!r}\n{written}"
    )
    drives = parse_plan_file(text, "f").supply().drives
    assert len(drives) == len({drive.name for drive in drives}) == count
    for drive in drives:
        assert drive.size_bytes == terabytes * 10**12
        assert drive.rate.read_bytes_per_second == read * 1e6
        assert drive.rate.write_bytes_per_second == (None if write is None else write * 1e6)
