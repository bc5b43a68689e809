"""The child's answer is parsed without trusting it."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.probe.reply import Reply, ReplyError, Step, parse_reply


def answer(**changes: Any) -> dict[str, Any]:
    """One extent: 3 MB in 30 ms in two slices, and 1 MB more in 10 ms."""
    usual = {
        "step": "done",
        "number": 0,
        "offset": None,
        "found": "",
        "gone": False,
        "budget_spent": False,
        "nanoseconds": 50_000_000,
        "bytes_read": 5_000_000,
        "zero_bytes": 0,
        "places": [
            {
                "start": 1_000_000,
                "slices": [[1_000_000, 10_000_000], [2_000_000, 20_000_000]],
                "rest": [1_000_000, 10_000_000],
            }
        ],
        "latencies": [[1_000_000, 8], [2_000_000, 1], [9_000_000, 1]],
        "longest": 9_000_000,
    }
    return usual | changes


def parsed(**changes: Any) -> Reply:
    return parse_reply(json.dumps(answer(**changes)).encode())


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=20,
)


@given(st.binary())
def test_no_bytes_whatever_raise_anything_but_reply_error(line: bytes) -> None:
    with pytest.raises(ReplyError):
        parse_reply(line)


@given(st.dictionaries(st.sampled_from(sorted(answer())), json_values))
def test_an_answer_with_any_fields_replaced_is_refused_or_coherent(changes: dict[str, Any]) -> None:
    try:
        reply = parsed(**changes)
    except ReplyError:
        return
    assert reply.zero_bytes <= reply.bytes_read
    assert all(place.seconds > 0 and place.bytes_read > 0 for place in reply.places)
    assert all(rate > 0 for rate in reply.slices)


@given(st.sampled_from(sorted(answer())))
def test_every_field_is_needed(missing: str) -> None:
    said = answer()
    del said[missing]
    with pytest.raises(ReplyError):
        parse_reply(json.dumps(said).encode())


@pytest.mark.parametrize(
    "changes",
    [
        {"bytes_read": -1},
        {"bytes_read": 1.5},
        {"bytes_read": True},
        {"bytes_read": 2**63},
        {"bytes_read": 3_999_999},
        {"zero_bytes": 5_000_001},
        {"nanoseconds": "1"},
        {"step": "asleep"},
        {"places": [[1, 2, 3]]},
        {"places": [{"start": 0, "slices": [[1]], "rest": [0, 0]}]},
        {"latencies": [[1, 2, 3]]},
    ],
)
def test_impossible_figures_are_refused(changes: dict[str, Any]) -> None:
    with pytest.raises(ReplyError):
        parsed(**changes)


def test_deep_nesting_is_refused_and_does_not_exhaust_the_stack() -> None:
    with pytest.raises(ReplyError):
        parse_reply(b"[" * 200_000)


def test_a_place_counts_its_slices_and_the_piece_left_over() -> None:
    place = parsed().places[0]
    assert (place.start_bytes, place.bytes_read) == (1_000_000, 4_000_000)
    assert place.seconds == pytest.approx(0.04)
    assert place.bytes_per_second == pytest.approx(100e6)


def test_slices_give_rates_in_bytes_per_second() -> None:
    assert parsed().slices == pytest.approx((100e6, 100e6))


def test_a_place_without_a_whole_slice_gives_its_own_rate_as_the_slice() -> None:
    place = {"start": 0, "slices": [], "rest": [1_000_000, 5_000_000]}
    assert parsed(places=[place]).slices == pytest.approx((200e6,))


def test_a_place_where_nothing_was_counted_is_left_out() -> None:
    place = {"start": 0, "slices": [], "rest": [0, 0]}
    assert parsed(places=[place]).places == ()


def test_quantiles_are_the_smallest_value_that_so_many_do_not_exceed() -> None:
    """Ten transfers: eight of 1 ms, one of 2 ms, one of 9 ms."""
    latency = parsed().latency
    assert latency is not None
    assert latency.median == pytest.approx(0.001)
    assert latency.p90 == pytest.approx(0.002)
    assert latency.p99 == pytest.approx(0.009)
    assert latency.maximum == pytest.approx(0.009)


def test_no_counted_transfer_means_no_latency() -> None:
    assert parsed(latencies=[], longest=0).latency is None


def test_steps_and_errors_are_taken_over() -> None:
    reply = parsed(step="read", number=5, offset=1 << 40)
    assert (reply.step, reply.number, reply.offset) == (Step.READ, 5, 1 << 40)
