"""What a person reads of shared limits: only what is certain is called found."""

from __future__ import annotations

import tomllib
from io import StringIO

import pytest
from rich.console import Console

from arraygauge.config import Configuration
from arraygauge.inventory.values import Host, Level
from arraygauge.judge import Cause, Grounds, assess_array, with_walls
from arraygauge.probe.values import Attempt
from arraygauge.probe.wall_runs import WallReport
from arraygauge.tell.machine import wall_document
from arraygauge.tell.sentences import array_sentence
from arraygauge.tell.walls import print_walls
from arraygauge.theory.walls import Run, Wall
from invented import array, host, measured, member

NAMES = ("vdb", "vdc", "vdd", "vde")
STRIPE = array(Level.RAID0, (member(name, slot) for slot, name in enumerate(NAMES)))
MACHINE = host([STRIPE])
SURE = Wall(members=frozenset({"vdb", "vdc"}), bytes_per_second=60.4e6, confidence=0.99996)
OTHER = Wall(members=frozenset({"vdd", "vde"}), bytes_per_second=50e6, confidence=0.9)
GUESS = Wall(members=frozenset({"vdd", "vde"}), bytes_per_second=75e6, confidence=0.89)


def report(*walls: Wall, unresolved: tuple[str, ...] = (), ended: str | None = None) -> WallReport:
    return WallReport(
        alone=dict.fromkeys(NAMES, 40e6),
        runs=(Run(rates=dict.fromkeys(NAMES, 30e6)),),
        walls=walls,
        unresolved=frozenset(unresolved),
        noise=0.03,
        bytes_by_device=dict.fromkeys(NAMES, 1 << 20),
        seconds=1.0,
        ended_early=ended,
    )


def printed(machine: Host, told: WallReport | None) -> str:
    out = StringIO()
    attempts: dict[str, Attempt] = {name: measured(name, 40e6) for name in NAMES}
    print_walls(Console(file=out, width=200), machine, attempts, told)
    return out.getvalue()


def test_a_certain_wall_is_told_with_its_members_rate_and_what_to_declare() -> None:
    words = printed(MACHINE, report(SURE))
    assert "vdb and vdc carry no more than 60.4 MB/s together (99.9 % sure" in words
    assert "not certain" not in words.lower()


def test_what_is_to_be_declared_is_valid_and_names_drives_for_good() -> None:
    """It can be pasted as it is, two walls as well."""
    words = printed(MACHINE, report(SURE, OTHER))
    pasted = words[words.index("[[uplink]]") : words.index("read together")]
    uplinks = Configuration.model_validate(tomllib.loads(pasted)).uplink
    assert [uplink.read_mb_per_second for uplink in uplinks] == [60, 50]
    ids = [device.stable_id for name in ("vdb", "vdc") if (device := MACHINE.device(name))]
    assert list(uplinks[0].devices) == ids
    assert len({uplink.name for uplink in uplinks}) == 2


def test_a_wall_below_nine_tenths_is_shown_as_not_certain_and_nothing_is_to_be_declared() -> None:
    words = printed(MACHINE, report(GUESS))
    assert "Not certain, so not to be built on: vdd and vde carry no more than 75.0 MB/s" in words
    assert "(89 % sure" in words
    assert "[[uplink]]" not in words
    assert not wall_document(GUESS)["certain"]
    assert wall_document(OTHER)["certain"]


def test_no_wall_is_a_sentence_only_where_the_search_was_done() -> None:
    assert "No limit is shared" in printed(MACHINE, report())
    for told in (report(unresolved=("vdb",)), report(ended="others read from vdb"), report(GUESS)):
        assert "No limit is shared" not in printed(MACHINE, told)


def test_without_two_rates_nothing_is_said_of_limits() -> None:
    assert "nothing can be said of what they share" in printed(MACHINE, None)


@pytest.mark.parametrize(
    ("walls", "cause", "words"),
    [
        ((SURE,), Cause.FOUND_SHARED_LIMIT, "Read together, vdb and vdc carry no more"),
        ((SURE, GUESS), Cause.FOUND_SHARED_LIMIT, "60.4 MB/s: a link, port or controller"),
        ((GUESS,), Cause.UNSEEN_SHARED_LIMIT, "Perhaps, but not certain: vdd and vde carry"),
        ((), Cause.UNSEEN_SHARED_LIMIT, "other work used the array meanwhile."),
    ],
)
def test_only_a_certain_wall_explains_a_short_array(
    walls: tuple[Wall, ...], cause: Cause, words: str
) -> None:
    attempts: dict[str, Attempt] = {name: measured(name, 20e6) for name in NAMES}
    attempts["md0"] = measured("md0", 60e6)
    verdict = with_walls(assess_array(MACHINE, STRIPE, attempts, Grounds()), walls)
    assert verdict.cause is cause
    assert words in array_sentence(verdict)
