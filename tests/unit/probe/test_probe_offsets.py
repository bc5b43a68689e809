"""Where transfers go: each place once, in order or in none, into buffers of their own."""

from __future__ import annotations

import ctypes
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from arraygauge.probe.children.offsets import aligned_buffers, in_order, scattered


@given(
    count=st.integers(min_value=1, max_value=3000),
    seed=st.integers(min_value=0, max_value=2**32 - 1),
)
def test_scattered_places_are_each_met_once(count: int, seed: int) -> None:
    offsets = list(scattered(512, count, 4096, seed))
    assert sorted(offsets) == [512 + index * 4096 for index in range(count)]


@given(
    start=st.integers(0, 100),
    length=st.integers(0, 400),
    streams=st.integers(1, 8),
)
def test_streams_in_order_meet_each_whole_transfer_once(
    start: int, length: int, streams: int
) -> None:
    parts = [list(part) for part in in_order(start * 512, length * 100, 512, streams)]
    met = [offset for part in parts for offset in part]
    assert met == list(range(start * 512, start * 512 + length * 100 // 512 * 512, 512))


def test_scattered_places_follow_no_pattern() -> None:
    """A drive must not be able to read ahead: few neighbours follow each other, and the
    steps between places are nearly all different."""
    places = [offset // 4096 for offset in scattered(0, 4096, 4096, 1)]
    steps = [later - earlier for earlier, later in pairwise(places)]
    assert sum(abs(step) == 1 for step in steps) < 40
    assert len(set(steps)) > 2000


def test_the_seed_decides_the_order() -> None:
    first, again, other = (list(scattered(0, 500, 4096, seed)) for seed in (1, 1, 2))
    assert first == again != other


def test_an_unfinished_order_of_a_huge_drive_costs_no_memory() -> None:
    places = scattered(0, 10**12 // 4096, 4096, 3)
    assert len({next(places) for _ in range(1000)}) == 1000


def test_buffers_are_page_aligned_and_do_not_overlap() -> None:
    addresses = []
    for buffer in aligned_buffers(3, 5000):
        assert len(buffer) == 5000
        addresses.append(ctypes.addressof(ctypes.c_char.from_buffer(buffer)))
    assert all(address % 4096 == 0 for address in addresses)
    assert sorted(addresses)[1] - sorted(addresses)[0] >= 5000
