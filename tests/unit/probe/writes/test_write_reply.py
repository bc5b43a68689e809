"""The writing child's answer is parsed without trusting it; bad children are reported."""

from __future__ import annotations

import errno
import json
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.probe.process import Child, Conversation, Ending
from arraygauge.probe.reply import ReplyError
from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.probe.writes import talk
from arraygauge.probe.writes.probing import probe_write
from arraygauge.probe.writes.reasons import explain_write, outcome_of_write
from arraygauge.probe.writes.reply import WriteReply, WriteStep, parse_write_reply
from arraygauge.probe.writes.values import WriteMeasurement, WriteOutcome, WriteRequest
from unit.probe.any_json import json_values
from unit.probe.real_filesystem import hosted

MIB = 1 << 20


def answer(**changes: Any) -> dict[str, Any]:
    usual = {
        "step": "done",
        "number": 0,
        "found": "",
        "room": None,
        "folder": "/films",
        "device": [9, 0],
        "name": "arraygauge-probe-16MiB.random",
        "made": True,
        "in_place": False,
        "kept": True,
        "written": 32 * MIB,
        "filled": 16 * MIB,
        "nanoseconds": 10**9,
        "flush_nanoseconds": 10**8,
        "slices": [[MIB, 10**7]] * 4,
    }
    return usual | changes


def parsed(**changes: Any) -> WriteReply:
    return parse_write_reply(json.dumps(answer(**changes)).encode())


@given(st.binary())
def test_no_bytes_whatever_raise_anything_but_reply_error(line: bytes) -> None:
    with pytest.raises(ReplyError):
        parse_write_reply(line)


@given(st.dictionaries(st.sampled_from(sorted(answer())), json_values))
def test_an_answer_with_any_fields_replaced_is_refused_or_coherent(changes: dict[str, Any]) -> None:
    try:
        reply = parsed(**changes)
    except ReplyError:
        return
    assert reply.filled + sum(size for size, _ in reply.slices) <= reply.written


@pytest.mark.parametrize(
    ("step", "number", "outcome", "words"),
    [
        ("write", errno.EIO, WriteOutcome.WRITE_ERROR, "input/output error (EIO)"),
        ("flush", errno.EIO, WriteOutcome.WRITE_ERROR, "flushing of /films/"),
        ("write", errno.ENOSPC, WriteOutcome.NO_ROOM, "(ENOSPC)"),
        ("write", errno.EDQUOT, WriteOutcome.NO_ROOM, "quota"),
        ("write", errno.EROFS, WriteOutcome.READ_ONLY, "read-only"),
        ("write", errno.ENODEV, WriteOutcome.VANISHED, "(ENODEV)"),
        ("write", errno.EUCLEAN, WriteOutcome.WRITE_ERROR, "damaged"),
        ("write", errno.EINVAL, WriteOutcome.REFUSED, "O_DIRECT"),
        ("write", errno.EPROTO, WriteOutcome.WRITE_ERROR, "(EPROTO)"),
        ("make", errno.EACCES, WriteOutcome.REFUSED, "/films: this user may not write"),
        ("make", errno.EDQUOT, WriteOutcome.NO_ROOM, "quota"),
        ("slow", 0, WriteOutcome.TIMED_OUT, "too long"),
        ("stopped", 0, WriteOutcome.INTERRUPTED, "told to stop"),
        ("budget", 0, WriteOutcome.BUDGET_SPENT, "may be written now"),
    ],
)
def test_each_end_has_its_outcome_and_its_words(
    step: str, number: int, outcome: WriteOutcome, words: str
) -> None:
    reply = parsed(step=step, number=number, found="1048576" if step == "write" else "")
    assert outcome_of_write(reply) is outcome
    assert words in (explain_write(reply, MIB) or "")


def test_a_lack_of_room_is_said_in_figures() -> None:
    reply = parsed(step="room", room=[16 * 10**6, 20 * 10**6, 32 * 10**6])
    assert outcome_of_write(reply) is WriteOutcome.NO_ROOM
    assert "16 MB would leave 4 MB free, and 32 MB must stay free" in (explain_write(reply) or "")


@pytest.mark.parametrize("step", WriteStep)
def test_whatever_did_not_end_well_is_explained(step: WriteStep) -> None:
    explained = explain_write(parsed(step=step, number=5, found="1"), MIB)
    assert (explained is None) == (step is WriteStep.DONE)


def probed_by(program: str, stop: StopToken, directory: Path) -> WriteMeasurement:
    request = WriteRequest(
        device="md0",
        directories=(directory,),
        filesystems=hosted(directory),
        file_bytes=MIB,
        burst_bytes=MIB,
        max_bytes=4 * MIB,
        longest_seconds=0.1,
        grace_seconds=0.1,
    )
    return probe_write(Prober(stop), request, command=(sys.executable, "-I", "-S", "-c", program))


@pytest.mark.parametrize("program", ["pass", "print('{}')", "import sys; sys.exit('no luck')"])
def test_a_child_that_answers_nonsense_has_crashed(
    program: str, stop: StopToken, tmp_path: Path
) -> None:
    measured = probed_by(program, stop, tmp_path)
    assert measured.outcome is WriteOutcome.CRASHED
    assert "failed with exit status" in (measured.detail or "")
    assert measured.file_kept is None


def test_a_child_that_hangs_is_ended_at_the_deadline(
    stop: StopToken, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(talk, "MAKING_GRACE_SECONDS", 0.2)
    began = time.monotonic()
    measured = probed_by("import time; time.sleep(60)", stop, tmp_path)
    assert measured.outcome is WriteOutcome.TIMED_OUT
    assert "no answer within" in (measured.detail or "")
    assert time.monotonic() - began < 2


def test_a_child_that_ignores_being_told_to_stop_is_ended_all_the_same(
    stop: StopToken, tmp_path: Path
) -> None:
    """The parent stops while the child starts: a second to wrap up, then it is killed."""
    timer = threading.Timer(0.1, stop.set)
    timer.start()
    measured = probed_by("import time; time.sleep(60)", stop, tmp_path)
    timer.join()
    assert measured.outcome is WriteOutcome.INTERRUPTED
    assert "was killed" in (measured.detail or "")


def test_a_child_that_cannot_be_ended_is_abandoned_and_no_second_one_is_started(
    stop: StopToken, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stuck = Conversation(
        ending=Ending.OVERDUE,
        answer=b"",
        complaint="",
        exit_status=None,
        bytes_read=MIB,
        seconds=1.0,
        gave_way=None,
    )
    monkeypatch.setattr(Child, "talk", lambda *_: stuck)
    prober = Prober(stop)
    command = (sys.executable, "-I", "-S", "-c", "import time; time.sleep(60)")
    told = [talk.ask(prober, "md0", {}, deadline_seconds=1.0, command=command) for _ in range(2)]
    assert [each.outcome for each in told] == [WriteOutcome.ABANDONED, WriteOutcome.REFUSED]
    assert "cannot be ended" in told[0].detail
    assert "still hangs in the kernel" in told[1].detail
    [process] = prober.quarantine._stuck.values()
    process.kill()
    process.wait()
    for stream in (process.stdin, process.stdout, process.stderr):
        if stream is not None:
            stream.close()
