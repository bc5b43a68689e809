"""The configuration's [[footage]]: each mistake is explained, and arrays are found by any name."""

from __future__ import annotations

from fractions import Fraction

import pytest

from arraygauge.config import Configuration, parse_configuration
from arraygauge.config.footage import footage_asked_for
from arraygauge.errors import ConfigurationError
from arraygauge.inventory.values import Level
from arraygauge.service.grounds import grounds_of, unplaced_footage
from invented import array, host, member

HEAD = '[[footage]]\narray = "md0"\n'
BY_CODEC = HEAD + 'codec = "ProRes HQ"\nraster = "UHD"\n'


def parsed(text: str) -> Configuration:
    return parse_configuration(text, "f.toml")


def test_footage_by_codec_raster_and_frame_rate() -> None:
    [section] = parsed(BY_CODEC + "frames_per_second = 25\nstreams = 4\n").footage
    promise = section.promise()
    assert promise.name == "ProRes HQ 3840x2160 at 25"
    assert promise.stream.bits_per_second == 737_000_000
    assert promise.streams == 4
    assert promise.headroom == Fraction(3, 10)


@pytest.mark.parametrize("rate", ["29.97", '"29.97"', '"30000/1001"'])
def test_a_frame_rate_is_exact_however_it_is_written(rate: str) -> None:
    text = HEAD + f'codec = "VC-3 HQX"\nraster = "1080"\nframes_per_second = {rate}\n'
    [section] = parsed(text).footage
    assert section.stream().bits_per_second == 917504 * 8 * Fraction(30000, 1001)


def test_footage_by_its_rate_alone() -> None:
    text = HEAD + 'megabits_per_second = 400.5\nname = "camera"\nheadroom = 0\n'
    [section] = parsed(text).footage
    promise = section.promise()
    assert (promise.name, promise.streams) == ("camera", None)
    assert promise.headroom == 0
    assert promise.stream.bits_per_second == 400_500_000


@pytest.mark.parametrize(
    ("text", "message", "remedy"),
    [
        ("[[footage]]\nmegabits_per_second = 4\n", r"footage\[1\].array: ", ""),
        (HEAD, "give codec, raster and frames_per_second, or megabits_per_second alone", "mend"),
        (BY_CODEC, "give codec, raster and frames_per_second, or megabits", "mend"),
        (BY_CODEC + "megabits_per_second = 4\n", "not both", "mend"),
        (BY_CODEC + "frames_per_second = 50\n", "only at 23.976, 24, 25, 29.97, 59.94", "mend"),
        (BY_CODEC + "frames_per_second = true\n", "frames_per_second: .*valid string", "mend"),
        (BY_CODEC + 'frames_per_second = "x"\n', "'x' is no frame rate", "mend"),
        (HEAD + "megabits_per_second = 0\n", "megabits_per_second: .*greater than 0", "mend"),
        (HEAD + "megabits_per_second = inf\n", "megabits_per_second: ", "mend"),
        (HEAD + "megabits_per_second = 4\nstreams = 0\n", "streams: .*greater than", "mend"),
        (HEAD + "megabits_per_second = 4\nstreams = 1000\n", "streams: .*less than", "mend"),
        (HEAD + "megabits_per_second = 4\nheadroom = 1\n", "headroom: .*less than", "mend"),
        (HEAD + "megabits_per_second = 4\ncodek = 1\n", "footage.1..codek", "did you mean 'codec'"),
        (
            HEAD + 'megabits_per_second = 4\ntransfer_bytes = "8 MiB"\n',
            "from 256 KiB to 4 MiB, in whole steps of 4 KiB",
            "mend",
        ),
        (
            HEAD + 'megabits_per_second = 4\ntransfer_bytes = "300 kB"\n',
            "in whole steps of 4 KiB",
            "mend",
        ),
        (
            HEAD + 'codec = "Pro HQ"\nraster = "1080"\nframes_per_second = 25\n',
            "no codec 'Pro HQ' is known; did you mean 'ProRes HQ'",
            "mend",
        ),
        (
            HEAD + 'codec = "DV25"\nraster = "576i"\nframes_per_second = 25\n',
            "leave out the 'i'",
            "mend",
        ),
        (
            2 * (HEAD + "megabits_per_second = 4\n"),
            "'4 Mb/s' is there twice for md0: give each a name",
            "mend",
        ),
    ],
)
def test_each_mistake_is_explained(text: str, message: str, remedy: str) -> None:
    with pytest.raises(ConfigurationError, match=message) as caught:
        parsed(text)
    assert remedy in caught.value.remedy


def test_what_is_asked_on_the_command_line_is_explained_in_the_same_words() -> None:
    with pytest.raises(ConfigurationError, match="no codec 'DV26' is known") as caught:
        footage_asked_for(array="md0", codec="DV26", raster="576", frames_per_second="25")
    assert "lists codecs" in caught.value.remedy


@pytest.mark.parametrize("name", ["md0", "/dev/md0", "invented-md0"])
def test_an_array_is_found_by_any_of_its_names(name: str) -> None:
    text = f'[[footage]]\narray = "{name}"\nmegabits_per_second = 4\n'
    machine = host([array(Level.RAID0, [member("sda", 0)])])
    assert list(grounds_of(parsed(text), machine).footage) == ["md0"]
    assert unplaced_footage(parsed(text), machine) == ()


def test_an_array_that_is_not_there_is_named_and_hinders_nothing() -> None:
    configuration = parsed('[[footage]]\narray = "md9"\nmegabits_per_second = 4\n')
    machine = host([array(Level.RAID0, [member("sda", 0)])])
    assert grounds_of(configuration, machine).footage == {}
    assert unplaced_footage(configuration, machine) == ("md9",)
