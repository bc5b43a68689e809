"""The passive watch of a running agent on a real md kernel: no probe, only the kernel's counters.

ARRAYGAUGE_PASSIVE_REPETITIONS repeats the faults (1), and above 1 waits for alarms too;
ARRAYGAUGE_PASSIVE_REST_SECONDS is how long drives are watched at rest (8).
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import pytest

from lab.agent import CONFIG
from lab.command import Running
from lab.foreground import Foreground, Report, Work
from lab.guest import Guest
from lab.host import HERE
from lab.machine import KIB, MIB, ArraySpec, Drive, Machine, Transport

pytestmark = [pytest.mark.lab, pytest.mark.measures]

Boot = Callable[[Machine], Guest]

REPETITIONS = int(os.environ.get("ARRAYGAUGE_PASSIVE_REPETITIONS", "1"))
REST_SECONDS = float(os.environ.get("ARRAYGAUGE_PASSIVE_REST_SECONDS", "8"))
RATE = 8_000_000
NAMES = ("alder", "birch", "cedar", "dogwood", "elder", "fir")
MACHINE = Machine(
    drives=tuple(
        Drive(
            name=name,
            transport=Transport.VIRTIO,
            bytes_per_second=RATE,
            size_bytes=32 * MIB,
        )
        for name in NAMES
    ),
    arrays=(ArraySpec(name="md0", level="raid0", members=NAMES, chunk_bytes=128 * KIB),),
)
WATCHING_ONLY = """[budget]
quiet_hours = ["00:00-12:00", "12:00-24:00"]
[[webhook]]
url = "http://127.0.0.1:9999/"
least_severity = "information"
"""
STRIPES = 6 * 128 * KIB
AT_REST_SECONDS = 3
SUSPECTED_SECONDS = 60
ALARMED_SECONDS = 300


@contextmanager
def watching(guest: Guest) -> Iterator[Running]:
    """An agent that probes nothing and remembers nothing, and what hears its messages."""
    guest.run("rm -rf /var/lib/arraygauge/*").checked()
    listener = guest.start([sys.executable, "-I", "-S", str(HERE / "webhook_listener.py")])
    listener.wait_for_output("ready")
    guest.write(CONFIG, WATCHING_ONLY)
    daemon = guest.start_module("arraygauge", "--config", CONFIG, "run")
    daemon.wait_for_output("metrics at", 60)
    wait_for(guest, lambda seen: set(seen) == {guest.device(name) for name in NAMES}, 30)
    yield listener
    daemon.signal(signal.SIGTERM)
    assert daemon.wait(20).status == 0
    listener.signal(signal.SIGTERM)


def served(guest: Guest) -> dict[str, Any]:
    fetched = guest.run("busybox wget -qO- http://127.0.0.1:9847/incidents.json").checked()
    document: dict[str, Any] = json.loads(fetched.stdout)
    return document


def seen(guest: Guest) -> dict[str, str]:
    """What is said of each member now."""
    arrays = served(guest)["watching"]
    return {each["name"]: each["seen"] for array in arrays for each in array["members"]}


def wait_for(guest: Guest, wanted: Callable[[dict[str, str]], bool], seconds: float) -> float:
    """Seconds until what is said of the members is as wanted."""
    began = time.monotonic()
    while not wanted(said := seen(guest)):
        assert time.monotonic() - began < seconds, said
        time.sleep(0.5)
    return time.monotonic() - began


def counted(guest: Guest) -> list[object]:
    return [guest.counters(name) for name in NAMES]


def working(guest: Guest, seconds: float) -> Foreground:
    """A reader of whole stripes, several at a time."""
    work = Work(path="/dev/md0", seconds=seconds, transfer_bytes=STRIPES, depth=6)
    foreground = Foreground(guest, work)
    foreground.begin()
    return foreground


def test_watching_sends_nothing_to_the_members_and_says_that_it_cannot_judge(
    boot_lab: Boot,
) -> None:
    guest = boot_lab(MACHINE)
    with watching(guest):
        before = counted(guest)
        time.sleep(REST_SECONDS)
        said = seen(guest)
        assert counted(guest) == before, "by the hypervisor's count"
    assert set(said.values()) == {"not judged: too little I/O"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Freeze:
    """One drive's standstill as whoever reads the array has it, and as the agent told it:
    seconds from the last completion to the word, from the first afterwards to its length."""

    seconds: float
    word_after: float
    told_seconds: float
    told_after: float


def freeze_at_work(guest: Guest, listener: Running, drive: str, seconds: float) -> Freeze:
    """The drive stops under load."""
    heard = len(messages(listener))
    foreground = working(guest, seconds + 7)
    time.sleep(4)
    guest.hang(drive)
    time.sleep(seconds)
    guest.resume(drive)
    began, ended = standstill(foreground.report(60))
    return told(messages(listener)[heard:], guest.device(drive), began, ended)


def freeze_at_rest(guest: Guest, listener: Running, drive: str, seconds: float) -> Freeze:
    """The drive stops while nobody asks it for anything, and then somebody does."""
    time.sleep(AT_REST_SECONDS)
    heard = len(messages(listener))
    guest.hang(drive)
    foreground = working(guest, seconds + 1)
    time.sleep(seconds)
    guest.resume(drive)
    report = foreground.report(60)
    return told(messages(listener)[heard:], guest.device(drive), report.started, report.first)


def standstill(report: Report) -> tuple[float, float]:
    """The longest time without a completion, by the reader's clock."""
    assert report.failure is None
    busy = [at for at, moved in enumerate(report.bytes_per_10_ms) if moved]
    _, last, first = max((b - a, a, b) for a, b in pairwise(busy))
    return report.started + 0.01 * (last + 1), report.started + 0.01 * first


def told(heard: list[dict[str, Any]], device: str, began: float, ended: float) -> Freeze:
    hangs = [
        each
        for each in heard
        if each["message"]["matter"] == "device hangs"
        and each["message"]["cause"]["name"] == device
    ]
    over = next(each for each in hangs if each["message"]["facts"]["over"])
    return Freeze(
        seconds=ended - began,
        word_after=hangs[0]["at"] - began,
        told_seconds=over["message"]["facts"]["seconds"],
        told_after=over["at"] - ended,
    )


def messages(listener: Running) -> list[dict[str, Any]]:
    """All that were heard so far."""
    written = ""
    try:
        for text in listener.follow(0.5):
            written += text
    except TimeoutError:
        pass
    return [json.loads(line) for line in written.splitlines() if '"message"' in line]


def test_a_freeze_is_told_within_three_seconds_and_its_length_half_a_second_after_its_end(
    boot_lab: Boot,
) -> None:
    """The reader on the array is the independent witness."""
    guest = boot_lab(MACHINE)
    for repetition in range(REPETITIONS):
        drives = NAMES[repetition % 6], NAMES[(repetition + 3) % 6]
        seconds = 5 + repetition % 4
        with watching(guest) as listener:
            for freezing, drive in zip((freeze_at_work, freeze_at_rest), drives, strict=True):
                found = freezing(guest, listener, drive, seconds)
                print(freezing.__name__, found)
                assert found.word_after <= 3.0
                assert found.told_seconds == pytest.approx(found.seconds, abs=0.5)
                assert found.told_after <= 0.5


def test_a_member_throttled_to_half_under_load_is_suspected_within_a_minute(
    boot_lab: Boot,
) -> None:
    guest = boot_lab(MACHINE)
    for repetition in range(REPETITIONS):
        drive = NAMES[(1 + repetition) % len(NAMES)]
        device = guest.device(drive)
        with watching(guest):
            foreground = working(guest, 360 if REPETITIONS > 1 else 90)
            wait_for(guest, lambda said: set(said.values()) == {"like its peers"}, 30)
            guest.limit(drive, RATE // 2)
            took = wait_for(guest, accusing("suspected", device), SUSPECTED_SECONDS)
            print(f"throttled {device}: suspected after {took:.0f} s")
            if REPETITIONS > 1:
                took += wait_for(guest, accusing("alarmed", device), ALARMED_SECONDS - took)
                print(f"throttled {device}: alarmed after {took:.0f} s")
            guest.limit(drive, RATE)
        del foreground


def accusing(word: str, device: str) -> Callable[[dict[str, str]], bool]:
    """Whether that is said of the device; of no other anything of the kind may be."""

    def check(said: dict[str, str]) -> bool:
        accused = [name for name, now in said.items() if now.startswith(("suspected", "alarmed"))]
        assert set(accused) <= {device}, said
        return said[device].startswith(word)

    return check
