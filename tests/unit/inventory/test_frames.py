"""The frames between the inventory's process and the agent."""

from __future__ import annotations

import pickle
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.events import EventKind, KernelEvent
from arraygauge.inventory.frames import MOST_CONTENT_BYTES, FrameError, Frames, encode
from arraygauge.inventory.host import read_host
from captured.machines import lay_out

EVENT = KernelEvent(kind=EventKind.BLOCK, subject="sda", action="remove")
events = st.builds(
    KernelEvent, kind=st.sampled_from(EventKind), subject=st.text(), action=st.text()
)


def frame(tag: bytes, content: bytes) -> bytes:
    return tag + len(content).to_bytes(8, "little") + content


@given(st.lists(events, max_size=5), st.lists(st.integers(0, 2000), max_size=10))
def test_frames_cut_anywhere_come_out_whole_and_in_order(
    sent: list[KernelEvent], cuts: list[int]
) -> None:
    stream = b"".join(map(encode, sent))
    at = sorted({0, len(stream), *(cut for cut in cuts if cut < len(stream))})
    frames = Frames()
    pieces = [stream[start:end] for start, end in pairwise(at)]
    assert [value for piece in pieces for value in frames.feed(piece)] == sent


def test_a_whole_machine_comes_out_as_it_went_in(tmp_path: Path) -> None:
    host = read_host(lay_out("lab_levels", tmp_path))
    assert Frames().feed(encode(EVENT) + encode(host)) == [EVENT, host]


def test_nothing_comes_of_a_frame_that_is_not_all_there() -> None:
    assert Frames().feed(encode(EVENT)[:-1]) == []


@pytest.mark.parametrize(
    ("stream", "reason"),
    [
        (b"Traceback", "begins with b'T'"),
        (b"H" + (MOST_CONTENT_BYTES + 1).to_bytes(8, "little"), "claims"),
        (frame(b"E", b"not a pickle"), "cannot be unpacked"),
        (frame(b"E", b""), "cannot be unpacked"),
        (frame(b"H", pickle.dumps(EVENT)), "holds a KernelEvent"),
        (frame(b"E", pickle.dumps("md0")), "holds a str"),
    ],
)
def test_what_is_no_frame_is_said_to_be_none(stream: bytes, reason: str) -> None:
    with pytest.raises(FrameError, match=reason):
        Frames().feed(stream)
