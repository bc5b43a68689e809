"""Faults in any order: what is told at the end is what the kernel says, once, and then over.

Seeded sequences of five steps over one mirror with spares and one stripe. Between any two steps
the agent may be killed, and started again. ``ARRAYGAUGE_CAMPAIGN`` is the number of sequences.
"""

from __future__ import annotations

import os
import random
import time
from collections.abc import Callable, Iterator
from itertools import pairwise

import pytest

from lab.campaign import MACHINE, MIRROR, SETTLE_SECONDS, STRIPE, Incidents, Stage
from lab.guest import Guest
from lab.machine import Machine

pytestmark = pytest.mark.lab

SEQUENCES = int(os.environ.get("ARRAYGAUGE_CAMPAIGN", "2"))
FIRST_SEED = int(os.environ.get("ARRAYGAUGE_CAMPAIGN_SEED", "1"))
STEPS = 5
KILL_SHARE, WAIT_SHARE, HANG_SHARE = 0.2, 0.4, 0.15
AFTER_A_HANG_SECONDS = 90.0
"""What was found by watching counters is over only after a minute without it."""
ABOUT_ARRAYS = frozenset({"data incomplete", "no redundancy left", "less redundancy"})
HANGS = "device hangs"

Step = tuple[str, Callable[[], object]]


@pytest.mark.timeout(60 + 120 * SEQUENCES)
def test_after_any_faults_the_agent_tells_what_the_kernel_says(
    boot_lab: Callable[[Machine], Guest],
) -> None:
    stage = Stage(guest=boot_lab(MACHINE))
    stage.start_agent()
    stage.wait_for_first_look()
    for seed in range(FIRST_SEED, FIRST_SEED + SEQUENCES):
        began = time.monotonic()
        log: list[str] = []
        try:
            play(stage, random.Random(seed), log)
        except Exception as error:
            raise AssertionError(f"sequence {seed}: {', then '.join(log)}: {error}") from error
        print(f"{seed}: {', '.join(log)} ({time.monotonic() - began:.0f} s)", flush=True)


def play(stage: Stage, chance: random.Random, log: list[str]) -> None:
    """One sequence, what it shows at its end, and the way back to a whole machine."""
    before = {each["number"] for each in stage.incidents()}
    for _ in range(STEPS):
        name, act = chance.choice(list(possible(stage, chance)))
        log.append(name)
        act()
        stage.note()
        if chance.random() < WAIT_SHARE:
            agree(stage)
        if chance.random() < KILL_SHARE:
            log.append("agent killed")
            stage.kill_agent()
            time.sleep(chance.uniform(0, 2))
            stage.start_agent()
    agree(stage)
    log.append("recovery")
    recover(stage)
    over(stage, AFTER_A_HANG_SECONDS if stage.answering_again else SETTLE_SECONDS)
    stage.answering_again.clear()
    once(each for each in stage.incidents() if each["number"] not in before)


def possible(stage: Stage, chance: random.Random) -> Iterator[Step]:
    """What can happen now; the mirror keeps one member that answers."""
    serving = [stage.served[slot] for slot in sorted(stage.note()) if slot[0] == MIRROR.name]
    answering = [drive for drive in serving if drive not in stage.hung]
    idle = not stage.hung
    if len(answering) >= 2:
        yield _step("fail", chance.choice(answering), stage.fail)
        yield _step("unplug", chance.choice(answering), lambda one: unplug(stage, chance, one))
    if len(answering) >= 3:
        yield "two at once", lambda: fail_two(stage, answering)
    lost = [drive for drive in stage.let_go() if drive not in stage.hung]
    if idle and lost:
        yield _step("replace", chance.choice(lost), lambda one: replace_lost(stage, one))
    for drive in sorted(stage.gone):
        yield _step("replug", drive, stage.replug)
    striped = [drive for drive in STRIPE.members if drive not in {*stage.gone, *stage.hung}]
    if len(striped) == 2:
        yield _step("unplug", chance.choice(striped), lambda one: unplug(stage, chance, one))
    yield _step("slow", chance.choice(serving), lambda one: stage.guest.limit(one, 2_000_000))
    if idle and chance.random() < HANG_SHARE:
        yield _step("hang", chance.choice(serving), stage.hang)
    for drive in sorted(stage.hung):
        yield _step("resume", drive, stage.resume)


def _step(name: str, drive: str, act: Callable[[str], object]) -> Step:
    return f"{name} {drive}", lambda: act(drive)


def fail_two(stage: Stage, drives: list[str]) -> None:
    for drive in drives[:2]:
        stage.fail(drive)


def unplug(stage: Stage, chance: random.Random, drive: str) -> None:
    """Half of the time its name is kept, so that it comes back under another."""
    stage.unplug(drive, reserve_name=chance.random() < 0.5)


def replace_lost(stage: Stage, drive: str) -> None:
    """Takes a lost member out, and puts it or a spare in its place; md begins to rebuild."""
    serving = stage.note()
    stage.guest.run("sleep 0.2")
    if stage.member_of(drive) in stage.stale:
        stage.fail(drive)
    stage.remove(drive)
    free = [
        one.name
        for one in MACHINE.drives
        if one.name not in {*stage.gone, *stage.hung, *STRIPE.members}
        and stage.member_of(one.name) is None
    ]
    empty = [
        slot
        for slot in range(len(MIRROR.members))
        if (MIRROR.name, slot) not in serving and slot not in stage.filled()
    ]
    if free and empty and not stage.rebuilding():
        stage.add(free[0], empty[0])


def recover(stage: Stage) -> None:
    """All drives answer, at their rate, are plugged in, and each array has all its members."""
    for drive in sorted(stage.hung):
        stage.resume(drive)
    for each in MACHINE.drives:
        if each.name in stage.gone:
            stage.replug(each.name)
        stage.guest.limit(each.name, each.bytes_per_second)
    stage.wait_for_rebuild()
    if any(array == STRIPE.name for array, _ in stage.stale):
        stage.remake_stripe()
    for _ in MIRROR.members:
        serving = {stage.served[slot] for slot in stage.note()}
        members = [drive for (array, _), drive in stage.members.items() if array == MIRROR.name]
        for drive in members:
            if drive not in serving:
                if stage.member_of(drive) in stage.stale:
                    stage.fail(drive)
                stage.remove(drive)
        fill(stage)
        stage.wait_for_rebuild()


def fill(stage: Stage) -> None:
    """One empty slot of the mirror gets a drive that is in no array."""
    serving = stage.note()
    free = [
        one.name
        for one in MACHINE.drives
        if one.name not in STRIPE.members and stage.member_of(one.name) is None
    ]
    for slot in range(len(MIRROR.members)):
        if (MIRROR.name, slot) not in serving:
            stage.add(free[0], slot)
            return


def agree(stage: Stage) -> None:
    """What is told of losses and hangs comes to be what the kernel says; that a drive hung is
    over only a minute after it answered."""
    deadline = time.monotonic() + SETTLE_SECONDS
    while True:
        wanted = {(drive, matter) for drive, matter in stage.missed().items()}
        wanted |= {(drive, HANGS) for drive in stage.hung}
        told = _told(stage.incidents())
        if wanted <= told <= wanted | {(drive, HANGS) for drive in stage.answering_again}:
            return
        assert time.monotonic() < deadline, f"told {sorted(told)}, the kernel: {sorted(wanted)}"
        time.sleep(0.3)


def _told(incidents: Incidents) -> set[tuple[str, str]]:
    return {
        (_drive(each), finding["matter"])
        for each in incidents
        if each["closed_at_seconds"] is None
        for finding in (each, *each["also"])
        if finding["matter"] in {*ABOUT_ARRAYS, HANGS}
    }


def _drive(incident: dict[str, object]) -> str:
    cause = incident["cause"]
    assert isinstance(cause, dict)
    known = [drive.name for drive in MACHINE.drives if drive.name in cause["stable_id"]]
    return known[0] if known else str(cause)


def over(stage: Stage, seconds: float) -> None:
    """No incident stays open once all is well again."""
    deadline = time.monotonic() + seconds
    while True:
        left = [each for each in stage.incidents() if each["closed_at_seconds"] is None]
        if not left:
            return
        words = [
            f"{each['cause']['name']}: {each['matter']}: {each['words']['reason']}" for each in left
        ]
        assert time.monotonic() < deadline, f"still open after the recovery: {words}"
        time.sleep(0.5)


def once(incidents: Iterator[dict[str, object]]) -> None:
    """Each was opened once, and no cause had two at a time."""
    spans: dict[str, list[tuple[float, float]]] = {}
    for each in incidents:
        changes = [change["change"] for change in each["changes"]]  # type: ignore[attr-defined]
        assert changes.count("opened") == 1, each
        span = (float(str(each["opened_at_seconds"])), float(str(each["closed_at_seconds"])))
        spans.setdefault(_drive(each), []).append(span)
    for cause, ordered in spans.items():
        ordered.sort()
        for (_, end), (begin, _) in pairwise(ordered):
            assert end <= begin, f"{cause} had two incidents at a time"
