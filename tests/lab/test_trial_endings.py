"""A trial that is ended at any moment leaves no array, and goes on where it was.

Only with ARRAYGAUGE_LAB_WHOLE=1: at 20 moments by Ctrl-C, and at 20 by kill -9.
"""

from __future__ import annotations

import json
import random
import time
from collections.abc import Callable, Iterator
from signal import SIGINT, SIGKILL

import pytest

from lab.guest import Guest
from lab.machine import MIB, Contents, Drive, Machine, Transport
from lab.trial_bench import (
    QUESTION,
    STATE,
    Talk,
    arrays,
    blank,
    forget,
    held,
    said,
    start,
    untouched,
    wait_until_no_array,
)
from lab.whole import only_whole

pytestmark = [pytest.mark.lab, only_whole]

MOMENTS = 20
SIZE = 48 * MIB
MACHINE = Machine(
    drives=(
        *(
            Drive(
                name=name,
                transport=Transport.VIRTIO,
                bytes_per_second=30_000_000,
                size_bytes=SIZE,
                contents=Contents.BLANK,
            )
            for name in ("one", "two", "three")
        ),
        Drive(
            name="witness",
            transport=Transport.NVME,
            bytes_per_second=200_000_000,
            size_bytes=16 * MIB,
        ),
    ),
)
IDS = tuple(f"serial-{name}" for name in ("one", "two", "three"))
ASKED = (
    *("--level", "raid5", "--level", "raid0", "--members", "3", "--chunk", "64 KiB"),
    *("--seconds", "1", "--places", "2", "--transfer", "256 KiB", "--most", "16 MiB"),
)
OPTIONS = 5
"""Three drives alone, and two levels."""
LONGEST_SECONDS = 12.0
"""About as long as one takes from the answer on to its end."""


@pytest.fixture
def guest(boot_lab: Callable[[Machine], Guest]) -> Iterator[Guest]:
    guest = boot_lab(MACHINE)
    forget(guest)
    for name in ("one", "two", "three"):
        blank(guest, guest.device(name))
    with untouched(guest, [guest.device("witness")]):
        yield guest
    assert arrays(guest) == []


def begun(guest: Guest) -> Talk:
    """A trial that was told to go ahead just now."""
    talk = start(guest, *ASKED, *IDS)
    talk.wait_for(QUESTION)
    talk.type("erase")
    return talk


def kept(guest: Guest) -> list[dict[str, object]]:
    """The results in the record."""
    text = guest.run(f"cat {STATE}/trials.jsonl").stdout
    return [said for line in text.splitlines() if (said := json.loads(line))["kind"] == "option"]


def moments(seed: int) -> list[float]:
    """Spread over its whole life, one in each equal part of it."""
    chance = random.Random(seed)
    return [(at + chance.random()) * LONGEST_SECONDS / MOMENTS for at in range(MOMENTS)]


@pytest.mark.timeout(900)
@pytest.mark.parametrize("number", [SIGKILL, SIGINT], ids=["kill-9", "ctrl-c"])
def test_ended_at_any_moment_it_leaves_no_array_and_goes_on(guest: Guest, number: int) -> None:
    seen = 0
    for moment in moments(number):
        talk = begun(guest)
        time.sleep(moment)
        talk.running.signal(number)
        done = talk.end()
        assert done.status in (0, 1, -SIGKILL), (done.status, done.stderr)
        wait_until_no_array(guest)
        now = len(kept(guest))
        assert now >= seen, "a result was lost"
        seen = now
        if done.status == 0:  # it had done all it was to do: another begins anew
            seen = 0
            forget(guest)
            for name in ("one", "two", "three"):
                blank(guest, guest.device(name))
    last = held(guest, *ASKED, *IDS)
    assert last.status == 0, last.stderr
    assert len(kept(guest)) == OPTIONS
    assert all(each["problem"] is None for each in kept(guest))


def test_killed_together_with_its_warden_it_is_taken_down_by_the_next(guest: Guest) -> None:
    talk = begun(guest)
    while not arrays(guest):
        time.sleep(0.02)
    guest.run("for p in $(pgrep -f '[a]rraygauge.trial.warden'); do kill -9 $p; done").checked()
    talk.running.kill()
    talk.end()
    assert arrays(guest) == ["md_agtrial0"]
    done = held(guest, *ASKED, *IDS)
    assert done.status == 0, done.stderr
    assert "Taken down: md_agtrial0, left by a trial that was killed." in said(done)


def test_a_second_trial_waits_for_none_and_is_refused(guest: Guest) -> None:
    talk = start(guest, *ASKED, *IDS)
    talk.wait_for(QUESTION)
    second = guest.run_module("arraygauge", "trial", *ASKED, *IDS)
    assert second.status == 1
    assert "another trial runs" in said(second)
    talk.type("no")
    assert talk.end().status == 2


def test_ctrl_c_at_the_question_ends_it_at_once(guest: Guest) -> None:
    talk = start(guest, *ASKED, *IDS)
    talk.wait_for(QUESTION)
    talk.running.signal(SIGINT)
    done = talk.end(20)
    assert done.status == 2
    assert "not confirmed" in done.stderr
