"""The child's answer is parsed without trusting it."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.probe.reply import Reply, ReplyError, Step, parse_reply
from unit.probe.any_json import json_values


def answer(**changes: Any) -> dict[str, Any]:
    """Two extents: 4 MB counted in 40 ms and 3 MB in 20 ms, half a megabyte of it zeros."""
    usual = {
        "step": "done",
        "number": 0,
        "offset": None,
        "found": "",
        "gone": False,
        "budget_spent": False,
        "nanoseconds": 80_000_000,
        "bytes_read": 9_000_000,
        "temperature": "41850",
        "places": [
            [1_000_000, 4_000_000, 40_000_000, 0],
            [50_000_000, 3_000_000, 20_000_000, 500_000],
        ],
        "latencies": [1_000_000, 2_000_000, 8_000_000, 9_000_000],
        "progress": [],
    }
    return usual | changes


def parsed(**changes: Any) -> Reply:
    return parse_reply(json.dumps(answer(**changes)).encode())


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
    assert sum(place.zero_bytes for place in reply.places) <= reply.bytes_read
    assert sum(place.bytes_read for place in reply.places) <= reply.bytes_read
    assert all(place.seconds > 0 and place.bytes_read > 0 for place in reply.places)


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
        {"bytes_read": 6_999_999},
        {"bytes_read": 9_000_000, "places": [[0, 1, 1, 9_000_001]]},
        {"nanoseconds": "1"},
        {"step": "asleep"},
        {"temperature": 41},
        {"places": [[1, 2, 3]]},
        {"places": [[1, 2, 3, -4]]},
        {"places": [{"start": 0}]},
        {"latencies": [1, 2, 3]},
        {"latencies": [1, 2, 3, "4"]},
    ],
)
def test_impossible_figures_are_refused(changes: dict[str, Any]) -> None:
    with pytest.raises(ReplyError):
        parsed(**changes)


def test_deep_nesting_is_refused_and_does_not_exhaust_the_stack() -> None:
    with pytest.raises(ReplyError):
        parse_reply(b"[" * 200_000)


def test_places_keep_their_order_and_give_rates_in_bytes_per_second() -> None:
    first, second = parsed().places
    assert (first.start_bytes, first.bytes_read, first.zero_bytes) == (1_000_000, 4_000_000, 0)
    assert first.seconds == pytest.approx(0.04)
    assert first.bytes_per_second == pytest.approx(100e6)
    assert second.bytes_per_second == pytest.approx(150e6)


@pytest.mark.parametrize(("zeros", "empty"), [(0, False), (5_000, False), (5_001, True)])
def test_a_place_with_more_than_a_twentieth_of_zeros_counts_as_empty(
    zeros: int, empty: bool
) -> None:
    (place,) = parsed(places=[[0, 100_000, 1, zeros]]).places
    assert place.empty is empty


def test_a_place_where_nothing_was_counted_is_left_out() -> None:
    assert parsed(places=[[0, 0, 0, 0], [0, 0, 0, 7]]).places == ()


def test_quantiles_are_taken_over_in_seconds() -> None:
    latency = parsed().latency
    assert latency is not None
    assert (latency.median, latency.p90) == pytest.approx((0.001, 0.002))
    assert (latency.p99, latency.maximum) == pytest.approx((0.008, 0.009))


def test_no_counted_transfer_means_no_latency() -> None:
    assert parsed(latencies=[]).latency is None


def test_the_temperature_is_the_kernel_s_text_or_none() -> None:
    assert parsed().temperature == "41850"
    assert parsed(temperature=None).temperature is None


def test_steps_and_errors_are_taken_over() -> None:
    reply = parsed(step="read", number=5, offset=1 << 40)
    assert (reply.step, reply.number, reply.offset) == (Step.READ, 5, 1 << 40)
