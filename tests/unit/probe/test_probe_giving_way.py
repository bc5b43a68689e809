"""A burst ends as soon as the lookout says so, and what was read until then is kept."""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from statistics import median

import psutil
import pytest

from arraygauge.probe.process import WRAP_UP_SECONDS, OwnBytes
from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import Burst, Outcome
from unit.probe.loop_device import LoopDevice, attached, require_loop_devices
from unit.probe.probe_requests import loop_request, request

MIB = 1 << 20
ENDLESS = ((0, 1 << 40),)


class Alarm:
    """Says to give way a while after the first bytes came."""

    interval_seconds = 0.004

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self.first_bytes_at: float | None = None
        self.said_at: float | None = None
        self.looks: list[tuple[float, int, int]] = []

    def look(self, own: OwnBytes) -> str | None:
        assert self.said_at is None, "it is not asked again"
        now, (asked, came) = time.monotonic(), own()
        self.looks.append((now, asked, came))
        if came and self.first_bytes_at is None:
            self.first_bytes_at = now
        if self.first_bytes_at is None or now - self.first_bytes_at < self.seconds:
            return None
        self.said_at = now
        return "others read from sdz"


@pytest.fixture
def in_memory() -> Iterator[LoopDevice]:
    """1 TiB of nothing in memory, which no burst gets to the end of."""
    require_loop_devices()
    with tempfile.TemporaryDirectory(dir="/dev/shm") as held:
        backing = Path(held) / "endless"
        backing.touch()
        os.truncate(backing, 1 << 40)
        with attached(backing) as device:
            yield device


def test_the_lookout_ends_a_burst_within_50_ms_and_its_places_are_kept(
    prober: Prober, in_memory: LoopDevice
) -> None:
    """From the alarm to the answer in hand, the child's end included; median of nine."""
    delays = []
    for _ in range(9):
        alarm = Alarm(0.2)
        burst = prober.run(loop_request(in_memory, extents=ENDLESS), alarm)
        assert alarm.said_at is not None
        delays.append(time.monotonic() - alarm.said_at)
        check_partial(burst)
    assert median(delays) < 0.05
    assert psutil.Process().children() == []


def check_partial(burst: Burst) -> None:
    assert burst.outcome is Outcome.GAVE_WAY
    assert burst.detail == "sdz: gave way: others read from sdz"
    (place,) = burst.places
    assert place.bytes_per_second > 0
    assert 0.1 < place.seconds < 0.4
    assert place.bytes_read <= burst.bytes_read


def test_places_read_before_the_alarm_are_whole(prober: Prober, in_memory: LoopDevice) -> None:
    extents = tuple((index << 37, 1 << 37) for index in range(8))
    asked = loop_request(in_memory, extents=extents, place_seconds=0.1)
    burst = prober.run(asked, Alarm(0.25))
    assert burst.outcome is Outcome.GAVE_WAY
    assert len(burst.places) in (2, 3)
    assert [place.start_bytes for place in burst.places[:2]] == [0, 1 << 37]
    for place in burst.places[:2]:
        assert place.seconds == pytest.approx(0.1, rel=0.5)


def test_an_alarm_before_the_first_read_ends_it_without_any(
    prober: Prober, in_memory: LoopDevice
) -> None:
    class AtOnce(Alarm):
        def look(self, own: OwnBytes) -> str | None:
            return "others read from sdz"

    began = time.monotonic()
    burst = prober.run(loop_request(in_memory, extents=ENDLESS), AtOnce(0))
    assert burst.outcome is Outcome.GAVE_WAY
    assert burst.places == ()
    assert burst.bytes_read <= 8 * MIB, "no thread asks twice"
    assert time.monotonic() - began < 1


def test_the_lookout_is_asked_all_along_and_told_the_child_s_own_bytes(
    prober: Prober, in_memory: LoopDevice
) -> None:
    alarm = Alarm(0.3)
    burst = prober.run(loop_request(in_memory, extents=ENDLESS), alarm)
    assert all(came <= asked <= came + 8 * MIB for _, asked, came in alarm.looks[:1])
    for (_, asked, came), (_, asked_then, came_then) in pairwise(alarm.looks):
        assert asked_then >= asked
        assert came_then >= came
    assert 0 < alarm.looks[-1][2] <= burst.bytes_read
    times = [now for now, _, came in alarm.looks if came]
    gaps = [later - earlier for earlier, later in pairwise(times)]
    assert median(gaps) < 0.012


def test_a_burst_without_an_alarm_is_not_cut(prober: Prober, in_memory: LoopDevice) -> None:
    asked = loop_request(in_memory, extents=ENDLESS, place_seconds=0.1)
    assert prober.run(asked, Alarm(60)).outcome is Outcome.COMPLETED


def test_a_child_that_does_not_give_way_is_ended(stop: StopToken) -> None:
    """It gets a second to finish what is in flight, whatever its deadline."""
    program = (
        "import json, mmap, sys, time\n"
        "asked = json.loads(sys.stdin.readline())\n"
        "words = memoryview(mmap.mmap(asked['progress'], 8 * asked['words'])).cast('Q')\n"
        "words[1] = words[2] = 4096\n"
        "time.sleep(60)"
    )
    prober = Prober(stop, command=(sys.executable, "-I", "-S", "-c", program))
    alarm = Alarm(0.1)
    burst = prober.run(request("/dev/null"), alarm)
    assert alarm.said_at is not None
    assert WRAP_UP_SECONDS <= time.monotonic() - alarm.said_at < WRAP_UP_SECONDS + 0.5
    assert burst.outcome is Outcome.GAVE_WAY
    assert burst.bytes_read == 4096
    assert "was ended meanwhile" in (burst.detail or "")
    assert psutil.Process().children() == []


@pytest.mark.parametrize(("text", "celsius"), [("41850\n", 41.85), ("odd\n", None)])
def test_the_temperature_is_read_as_the_burst_begins(
    prober: Prober, loop: LoopDevice, tmp_path: Path, text: str, celsius: float | None
) -> None:
    sensor = tmp_path / "temp1_input"
    sensor.write_text(text)
    asked = replace(loop_request(loop), temperature_file=str(sensor), hottest_celsius=70.0)
    burst = prober.run(asked)
    assert burst.outcome is Outcome.COMPLETED
    assert burst.temperature_celsius == celsius


def test_a_drive_that_is_too_hot_is_left_to_cool(
    prober: Prober, loop: LoopDevice, tmp_path: Path
) -> None:
    sensor = tmp_path / "temp1_input"
    sensor.write_text("71000\n")
    asked = replace(loop_request(loop), temperature_file=str(sensor), hottest_celsius=70.0)
    burst = prober.run(asked)
    assert (burst.outcome, burst.bytes_read) == (Outcome.TOO_HOT, 0)
    assert burst.detail == "sdz: 71 °C is too hot to be read; look to its cooling"
    assert burst.temperature_celsius == 71.0
