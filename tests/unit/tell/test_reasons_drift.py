"""A drift in words and figures: what changed, since when, how much, how surely, and why perhaps."""

from __future__ import annotations

from dataclasses import replace
from io import StringIO

import pytest
from rich.console import Console

from arraygauge.inventory.values import Link, LinkKind, LinkRate
from arraygauge.judge.baseline import Baseline
from arraygauge.judge.change import Shape
from arraygauge.judge.drift import Course, DriftFinding, Level, Onset, Watched, accept_present
from arraygauge.judge.drift_evidence import Counts, DriftFacts, Peers, Sign
from arraygauge.judge.drifting import DriftMemory, observe_drift
from arraygauge.tell.baselines import (
    gauge,
    print_watched,
    watch_words,
    watched_document,
    watched_of,
)
from arraygauge.tell.reasons_drift import drift_reason, drift_steps
from unit.judge.drifting_machine import Machine
from unit.judge.passes import KEY

BASE = Baseline(
    key=KEY,
    fingerprint="",
    bytes_per_second=200e6,
    spread=0.012,
    usual_error=None,
    warmth=None,
    learned_from=168,
    learned_at_seconds=1.8e9 - 86400.0,
    usual_celsius=38.0,
    usual_empty_share=0.6,
)
DRIFT = DriftFinding(
    course=Course.SLOWER,
    onset=Onset(moment_seconds=1.8e9, shape=Shape.STEP, sure=0.99),
    share=-0.1,
    low_share=-0.12,
    high_share=-0.08,
    per_day=None,
    passes=9,
    kendall=-0.4,
    celsius=39.0,
    empty_share=0.6,
    baseline=BASE,
)
FACTS = DriftFacts(
    drift=DRIFT,
    is_array=False,
    of_array=False,
    together=0,
    peers=Peers(array_name="md0", count=3, share=0.004),
    low_links=(),
    before=Counts(),
    now=Counts(),
)
LOW = Link(
    link_id="port",
    kind=LinkKind.SATA,
    name="port 3",
    negotiated=LinkRate(bits_per_second_per_lane=1_500_000_000, lanes=1),
    maximum=LinkRate(bits_per_second_per_lane=6_000_000_000, lanes=1),
    parent_id=None,
)


def drift(**changes: object) -> DriftFacts:
    return replace(FACTS, drift=replace(DRIFT, **changes))  # type: ignore[arg-type]


def test_a_step_is_told_with_its_size_its_interval_its_date_and_its_peers() -> None:
    words = drift_reason(FACTS)
    assert words.startswith(
        "It reads 180 MB/s where 200 MB/s was usual: 10.0 % slower (8.0 to 12.0 %, from 9 passes), "
        "all at once about 2027-01-15 "
    )
    assert words.endswith("The 3 other members of md0 are where they were.")


def test_a_trend_is_told_with_its_pace_and_whether_it_goes_on() -> None:
    onset = replace(DRIFT.onset, shape=Shape.TREND)
    assert "0.8 % a day and going on." in drift_reason(
        drift(onset=onset, per_day=-0.008, kendall=-3.1)
    )
    assert "going on" not in drift_reason(drift(onset=onset, per_day=-0.008, kendall=-1.0))


def test_a_shape_not_known_yet_is_said_to_be_not_known() -> None:
    onset = replace(DRIFT.onset, shape=Shape.UNTOLD)
    assert "too few passes tell whether" in drift_reason(drift(onset=onset))
    assert "from one pass), since the pass of" in drift_reason(drift(onset=onset, passes=1))


def test_faster_is_called_faster_and_an_interval_across_nought_begins_there() -> None:
    words = drift_reason(drift(course=Course.FASTER, share=0.01, low_share=-0.005, high_share=0.03))
    assert "202 MB/s where 200 MB/s was usual: 1.0 % faster (0.0 to 3.0 %" in words


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        (replace(FACTS, peers=None), "usual"),
        (
            replace(FACTS, peers=Peers(array_name="md0", count=1, share=0.0)),
            "The other member of md0 is where it was.",
        ),
        (
            replace(FACTS, peers=Peers(array_name="md0", count=2, share=-0.06)),
            "The 2 other members of md0 are 6.0 % slower than they were.",
        ),
        (
            replace(FACTS, is_array=True, of_array=True),
            "Its members, read one by one, are where they were: that points to what they share.",
        ),
        (
            replace(FACTS, is_array=True, together=4),
            "Of 4 members that changed alike, the middle one reads 180 MB/s",
        ),
        (
            replace(FACTS, is_array=True, of_array=True, together=4),
            "All 4 members became slower alike",
        ),
    ],
)
def test_who_else_changed_is_said(facts: DriftFacts, words: str) -> None:
    assert words in drift_reason(facts)


@pytest.mark.parametrize(
    ("facts", "sign", "words"),
    [
        (replace(FACTS, low_links=(LOW,)), Sign.LOW_LINK, "SATA port 3 trained at 1.5 Gb/s of 6"),
        (drift(celsius=61.0), Sign.HOTTER, "It was 61 °C since, and 38 °C before."),
        (drift(empty_share=0.1), Sign.FULLER, "10% hold nothing now, and 60% did before"),
        (
            replace(FACTS, now=Counts(errors=3)),
            Sign.ERRORS_GREW,
            "md corrected 3 more of its read errors",
        ),
        (replace(FACTS, now=Counts(bad_block_ranges=2)), Sign.ERRORS_GREW, "lists 2 of its ranges"),
        (replace(FACTS, now=Counts(mismatch_bytes=4096)), Sign.ERRORS_GREW, "more that disagrees"),
    ],
)
def test_evidence_is_told_and_is_what_to_look_at_first(
    facts: DriftFacts, sign: Sign, words: str
) -> None:
    assert facts.signs == {sign}
    assert words in drift_reason(facts)
    assert len(drift_steps(facts)) == 1


def test_without_evidence_there_is_nothing_to_look_at_first() -> None:
    assert FACTS.signs == frozenset()
    assert drift_steps(FACTS) == ()


def test_the_gauge_shows_the_present_between_what_chance_makes_of_it() -> None:
    quiet = gauge(Level(share=0.0, low_share=-0.015, high_share=0.015), 0.01)
    assert quiet == f"slower -4 % {'─' * 12}({'─' * 7}●{'─' * 7}){'─' * 12} +4 % faster"
    slow = gauge(Level(share=-0.04, low_share=-0.015, high_share=0.015), 0.01)
    assert slow.startswith("slower -4 % ●")
    assert "┼" in slow


def shown(*watched: Watched) -> str:
    text = StringIO()
    print_watched(Console(file=text, width=200), watched)
    return text.getvalue()


def one(memory: DriftMemory, stable_id: str) -> Watched:
    [found] = watched_of(memory.watched, stable_id)
    return found


def test_what_is_usual_is_shown_from_learning_to_drifting() -> None:
    machine = Machine()
    assert "learning what is usual, 5 of 168 readings" in shown(
        one(machine.lived(5), "invented-sda")
    )
    memory = machine.lived(200)
    quiet = shown(one(memory, "invented-sda"))
    assert "usual 200 MB/s ± 1." in quiet
    assert "which is nothing unusual" in quiet
    assert "●" in quiet
    for _ in range(10):
        _, memory = observe_drift(machine.status({"sda": 0.1}), memory)
    assert "drifts: 10." in shown(one(memory, "invented-sda")) or "drifts: 9." in shown(
        one(memory, "invented-sda")
    )
    for _ in range(13):
        _, memory = observe_drift(machine.unmeasured(), memory)
    assert "the last 13 passes gave nothing to hold against it" in shown(
        one(memory, "invented-sda")
    )


def test_a_word_for_each_and_a_document_for_programs() -> None:
    machine = Machine()
    memory = machine.lived(200)
    for _ in range(10):
        _, memory = observe_drift(machine.status({"sda": 0.1}), memory)
    words = watch_words(memory.watched)
    assert words["invented-sda"].startswith("drifts, ")
    assert words["invented-sdb"] == "watching"
    [document] = watched_document([one(memory, "invented-sda")])
    assert document["drift"]["share"] == pytest.approx(-0.1, abs=0.02)
    assert document["usual"]["bytes_per_second"] == pytest.approx(200e6, rel=0.01)
    [learning] = watched_document([accept_present(one(memory, "invented-sda"))])
    assert (learning["watch"], learning["usual"], learning["drift"]) == ("learning", None, None)
