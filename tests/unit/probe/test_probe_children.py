"""Children that hang, lie, crash or cannot be killed; and parents that are killed.

Each bad child is a real small program in place of the real one.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import psutil
import pytest

from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import Burst, Outcome, ProbeRequest
from unit.probe.loop_device import LoopDevice
from unit.probe.probe_requests import request

FREEZER = Path("/sys/fs/cgroup/freezer")
DONE = {
    "step": "done",
    "number": 0,
    "offset": None,
    "found": "",
    "gone": False,
    "budget_spent": False,
    "nanoseconds": 1,
    "bytes_read": 0,
    "temperature": None,
    "places": [],
    "latencies": [],
    "progress": [],
}


def prober_with(stop: StopToken, program: str) -> Prober:
    return Prober(stop, command=(sys.executable, "-I", "-S", "-c", program))


def answer_of(
    stop: StopToken, program: str, asked: ProbeRequest | None = None
) -> tuple[Outcome, str]:
    measured = prober_with(stop, program).run(asked or request("/dev/null"))
    assert measured.places == ()
    assert psutil.Process().children() == [], "no process and no zombie is left"
    return measured.outcome, measured.detail or ""


def test_a_child_that_crashes_is_reported_with_its_last_words(stop: StopToken) -> None:
    outcome, detail = answer_of(stop, "import sys; sys.exit('out of luck')")
    assert outcome is Outcome.CRASHED
    assert "exit status 1" in detail
    assert "out of luck" in detail


def test_a_child_killed_by_a_signal_is_reported(stop: StopToken) -> None:
    outcome, detail = answer_of(stop, "import os; os.kill(os.getpid(), 11)")
    assert outcome is Outcome.CRASHED
    assert "-11" in detail


@pytest.mark.parametrize(
    "program",
    [
        "pass",
        "print('hello')",
        "print('{}')",
        "print('[' * 100000)",
        "import sys; sys.stdout.buffer.write(bytes(range(256)) + b'\\n')",
        f"print({json.dumps(json.dumps(DONE | {'bytes_read': 1 << 60}))})",
        f"print({json.dumps(json.dumps(DONE | {'places': [[0, 1, 1, 0]]}))})",
        f"import sys; sys.stdout.write({json.dumps(json.dumps(DONE)[:-9])})",
        "import os; os.close(1)",
    ],
)
def test_a_child_that_answers_nonsense_has_crashed(stop: StopToken, program: str) -> None:
    assert answer_of(stop, program)[0] is Outcome.CRASHED


def test_a_child_that_never_stops_talking_is_cut_off(stop: StopToken) -> None:
    outcome, detail = answer_of(stop, "while True: print('x' * 65535, end='')")
    assert outcome is Outcome.CRASHED
    assert len(detail) < 500


def test_a_child_that_never_stops_complaining_is_ended_at_the_deadline(stop: StopToken) -> None:
    program = "import sys\nwhile True: sys.stderr.write('x' * 65535)"
    outcome, _ = answer_of(stop, program, request("/dev/null", deadline_seconds=0.5))
    assert outcome is Outcome.TIMED_OUT


@pytest.mark.parametrize(
    "program",
    [
        "import time; time.sleep(60)",
        "import signal, time; signal.signal(15, signal.SIG_IGN); time.sleep(60)",
        "import sys, time; sys.stdout.write('half'); sys.stdout.flush(); time.sleep(60)",
    ],
)
def test_a_child_that_hangs_is_ended_at_the_deadline(stop: StopToken, program: str) -> None:
    began = time.monotonic()
    outcome, detail = answer_of(stop, program, request("/dev/null", deadline_seconds=0.4))
    assert outcome is Outcome.TIMED_OUT
    assert "no answer within 0.4 s" in detail
    assert time.monotonic() - began < 1.4


def test_a_child_that_answers_and_does_not_leave_is_ended_and_believed(stop: StopToken) -> None:
    program = f"import time; print({json.dumps(json.dumps(DONE))}, flush=True); time.sleep(60)"
    assert answer_of(stop, program)[0] is Outcome.COMPLETED


def test_a_program_that_cannot_be_started_is_reported(stop: StopToken) -> None:
    measured = Prober(stop, command=("/nonexistent/python",)).run(request("/dev/null"))
    assert measured.outcome is Outcome.CRASHED
    assert "could not be started" in (measured.detail or "")


def test_a_probe_leaves_no_descriptor_behind(stop: StopToken, loop: LoopDevice) -> None:
    before = psutil.Process().num_fds()
    for program in ("print('hello')", "import time; time.sleep(60)"):
        prober_with(stop, program).run(request("/dev/null", deadline_seconds=0.2))
    Prober(stop).run(request(loop.node, number=loop.number))
    with suppress(OSError):
        Prober(stop, command=("/nonexistent/python",)).run(request("/dev/null"))
    assert psutil.Process().num_fds() == before


@pytest.fixture
def frozen_group() -> Iterator[Path]:
    """A control group whose processes, once in it, cannot even be killed: the first
    version's freezer holds them in the kernel, as a hung drive would.

    Linux Documentation/admin-guide/cgroup-v1/freezer-subsystem.rst.
    """
    group = FREEZER / f"arraygauge-test-{os.getpid()}"
    try:
        group.mkdir()
    except OSError as error:
        pytest.skip(f"processes cannot be frozen here: {error}")
    try:
        (group / "freezer.state").write_text("FROZEN")
        yield group
    finally:
        _thaw(group)
        group.rmdir()


def _thaw(group: Path) -> None:
    (group / "freezer.state").write_text("THAWED")
    deadline = time.monotonic() + 5
    while (group / "tasks").read_text() and time.monotonic() < deadline:
        time.sleep(0.02)


def _thaw_and_reap(group: Path, prober: Prober) -> None:
    _thaw(group)
    deadline = time.monotonic() + 5
    while prober.quarantine.stuck() and time.monotonic() < deadline:
        time.sleep(0.02)
    assert prober.quarantine.stuck() == {}


def hanging_on(path: str, group: Path) -> str:
    """A child that hangs in the kernel on one path and answers on every other."""
    return (
        "import json, os, sys\n"
        f"if json.loads(sys.stdin.readline())['path'] == {path!r}:\n"
        f"    open({str(group / 'tasks')!r}, 'w').write(str(os.getpid()))\n"
        f"print({json.dumps(json.dumps(DONE))})"
    )


def hang_in_kernel(prober: Prober) -> Burst:
    began = time.monotonic()
    measured = prober.run(request("/dev/null", deadline_seconds=0.5))
    assert time.monotonic() - began < 0.5 + 1.0, "the parent does not wait for it"
    return measured


def test_a_child_stuck_in_the_kernel_is_abandoned_and_its_device_left_alone(
    stop: StopToken, frozen_group: Path
) -> None:
    prober = prober_with(stop, hanging_on("/dev/null", frozen_group))
    measured = hang_in_kernel(prober)
    (pid,) = prober.quarantine.stuck().values()
    assert measured.outcome is Outcome.ABANDONED
    assert str(pid) in (measured.detail or "")

    again = prober.run(request("/dev/null"))
    assert again.outcome is Outcome.REFUSED
    assert f"process {pid} of an earlier probe still hangs" in (again.detail or "")
    assert psutil.Process().children() == [psutil.Process(pid)], "no second child was started"

    _thaw_and_reap(frozen_group, prober)
    assert psutil.Process().children() == [], "it was reaped when it ended"
    assert prober.run(request("/dev/null")).outcome is not Outcome.REFUSED


def test_a_device_that_hangs_does_not_keep_others_from_being_probed(
    stop: StopToken, frozen_group: Path
) -> None:
    prober = prober_with(stop, hanging_on("/dev/null", frozen_group))
    hang_in_kernel(prober)
    other = replace(request("/dev/zero"), device="sdy")
    assert prober.run(other).outcome is Outcome.COMPLETED
    assert list(prober.quarantine.stuck()) == ["sdz"]
    _thaw_and_reap(frozen_group, prober)


@pytest.mark.measures
def test_told_to_stop_while_a_child_is_stuck_the_parent_still_returns(
    stop: StopToken, frozen_group: Path
) -> None:
    prober = prober_with(stop, hanging_on("/dev/null", frozen_group))
    timer = threading.Timer(0.3, stop.set)
    timer.start()
    began = time.monotonic()
    measured = prober.run(request("/dev/null", deadline_seconds=60))
    assert time.monotonic() - began < 0.3 + 1.0
    assert measured.outcome is Outcome.ABANDONED
    _thaw_and_reap(frozen_group, prober)


def test_a_parent_interrupted_while_it_waits_takes_the_child_with_it(stop: StopToken) -> None:
    """An exception out of a signal handler, as Ctrl-C raises one in a plain program."""

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGALRM, interrupt)
    try:
        signal.setitimer(signal.ITIMER_REAL, 0.3)
        with pytest.raises(KeyboardInterrupt):
            prober_with(stop, "import time; time.sleep(60)").run(request("/dev/null"))
    finally:
        signal.signal(signal.SIGALRM, before)
    assert psutil.Process().children() == []


def test_the_terminal_s_interrupt_does_not_reach_the_child(stop: StopToken, tmp_path: Path) -> None:
    """Ctrl-C goes to the foreground process group; the child is in one of its own."""
    program = f"import os; open({str(tmp_path / 'group')!r}, 'w').write(str(os.getpgrp()))"
    answer_of(stop, program)
    assert int((tmp_path / "group").read_text()) != os.getpgrp()


def test_probing_works_where_signals_are_blocked_or_handled(stop: StopToken) -> None:
    """A signal that arrives while the answer is awaited neither ends nor delays the wait."""
    handled: list[int] = []
    before = signal.signal(signal.SIGALRM, lambda number, _: handled.append(number))
    try:
        signal.setitimer(signal.ITIMER_REAL, 0.05, 0.05)
        program = f"import time; time.sleep(0.4); print({json.dumps(json.dumps(DONE))})"
        assert answer_of(stop, program)[0] is Outcome.COMPLETED
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
    assert handled
