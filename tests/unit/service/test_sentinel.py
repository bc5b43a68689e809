"""The daemon's sentinel: events beside other descriptors, readings, and what befalls it."""

from __future__ import annotations

import os
import selectors
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from arraygauge.inventory.events import EventKind, KernelEvent
from arraygauge.probe.stop import StopToken
from arraygauge.service import sentinel as service
from arraygauge.service.inventory_process import (
    COMMAND,
    HostUnreadableError,
    InventoryProcess,
    LeftBehind,
)
from arraygauge.service.sentinel import MISSED, RESTART_SECONDS, Sentinel
from unit.service.invented_process import ANSWERS, BABBLES, CRASHES, HANGS, command

TOLD = "event(asked)"
"""An event for each request, named as it."""
Make = Callable[..., Sentinel]


class Clock:
    """Seconds that pass only when told."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def stop() -> Iterator[StopToken]:
    token = StopToken()
    yield token
    token.close()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def make(stop: StopToken, clock: Clock) -> Iterator[Make]:
    """A started sentinel whose process runs these lines for each request."""
    made = []

    def start(*body: str) -> Sentinel:
        sentinel = Sentinel(stop, command(*body), clock)
        made.append(sentinel)
        sentinel.start()
        return sentinel

    yield start
    for sentinel in made:
        sentinel.close()


def heard(sentinel: Sentinel, count: int, seconds: float = 10) -> list[KernelEvent]:
    """Events as a main loop gets them, until there are so many."""
    events: list[KernelEvent] = []
    until = time.monotonic() + seconds
    with selectors.DefaultSelector() as selector:
        selector.register(sentinel, selectors.EVENT_READ)
        while len(events) < count:
            left = until - time.monotonic()
            assert left > 0, events
            limit = sentinel.seconds_to_wait()
            woken = selector.select(left if limit is None else min(left, limit))
            assert woken or limit is not None, "nothing would have woken the loop"
            events += sentinel.events()
    return events


def md_event(action: str) -> KernelEvent:
    return KernelEvent(kind=EventKind.MD, subject="md0", action=action)


def test_it_is_told_to_watch_and_its_events_wake_a_selector(make: Make) -> None:
    sentinel = make(TOLD)
    assert heard(sentinel, 1) == [md_event("watch")]
    assert sentinel.events() == ()
    assert sentinel.seconds_to_wait() is None
    assert sentinel.problem is None


def test_other_descriptors_of_the_loop_are_served_meanwhile(make: Make) -> None:
    sentinel = make("time.sleep(0.2)", TOLD)
    reading, writing = os.pipe()
    os.write(writing, b"!")
    with selectors.DefaultSelector() as selector:
        selector.register(sentinel, selectors.EVENT_READ)
        selector.register(reading, selectors.EVENT_READ)
        [(key, _)] = selector.select(5)
        assert key.fileobj == reading
    os.close(reading)
    os.close(writing)
    assert heard(sentinel, 1) == [md_event("watch")]


def test_events_that_come_during_a_reading_are_kept_and_still_wake_the_loop(make: Make) -> None:
    sentinel = make(TOLD, ANSWERS)
    host = sentinel.read(10)
    assert host is not None
    assert host.name == "invented"
    assert heard(sentinel, 2) == [md_event("watch"), md_event("host")]
    with selectors.DefaultSelector() as selector:
        selector.register(sentinel, selectors.EVENT_READ)
        assert selector.select(0.1) == []


def test_events_cut_into_pieces_come_whole(make: Make) -> None:
    sentinel = make(
        "for at in (b'E', encode(KernelEvent(kind=EventKind.MD, subject='md0',"
        " action='a'))[1:]): put(at); time.sleep(0.05)"
    )
    assert heard(sentinel, 1) == [md_event("a")]


def test_a_reading_that_hangs_ends_at_its_deadline_and_another_process_watches_at_once(
    make: Make,
) -> None:
    sentinel = make("if asked == 'watch': event(asked)", HANGS)
    began = time.monotonic()
    with pytest.raises(HostUnreadableError, match="hangs in the kernel"):
        sentinel.read(0.5)
    assert time.monotonic() - began < 1.5
    assert "hangs in the kernel" in (sentinel.problem or "")
    told = heard(sentinel, 3)
    assert sorted(event.action for event in told) == ["restarted", "watch", "watch"]
    assert MISSED in told


@pytest.mark.parametrize(
    ("body", "reason"), [(CRASHES, "a bug, invented for a test"), (BABBLES, "a frame begins")]
)
def test_a_process_that_fails_in_a_reading_is_named_and_replaced(
    make: Make, body: str, reason: str
) -> None:
    sentinel = make(body)
    with pytest.raises(HostUnreadableError, match=reason):
        sentinel.read(10)
    assert reason in (sentinel.problem or "")
    assert heard(sentinel, 1) == [MISSED]
    assert sentinel.seconds_to_wait() is None


def test_a_process_killed_while_it_watches_is_replaced_and_a_good_reading_clears_the_problem(
    make: Make, tmp_path: Path
) -> None:
    mark = tmp_path / "mark"
    first = f"if not os.path.exists({str(mark)!r}): open({str(mark)!r}, 'w')"
    dies_once = f"{first}; os.kill(os.getpid(), 9)"
    sentinel = make(dies_once, ANSWERS)
    assert heard(sentinel, 1) == [MISSED]
    assert sentinel.problem == "the process that reads the inventory failed: exit status -9"
    assert sentinel.read(10) is not None
    assert sentinel.problem is None


def test_one_that_fails_again_and_again_is_started_ever_more_rarely(
    make: Make, clock: Clock
) -> None:
    sentinel = make("sys.exit('no use')")
    pauses = []
    for _ in RESTART_SECONDS:
        pauses.append(pause_after_failure(sentinel))
        clock.now += pauses[-1] - 0.1
        sentinel.events()
        assert sentinel.seconds_to_wait() == pytest.approx(0.1)
        clock.now += 0.1
        assert sentinel.events() == (MISSED,)
    assert pauses == [*RESTART_SECONDS[1:], RESTART_SECONDS[-1]]  # the first passed unseen
    assert "no use" in (sentinel.problem or "")


def pause_after_failure(sentinel: Sentinel) -> float:
    """How long it will wait, once its process has failed and is not replaced at once."""
    with selectors.DefaultSelector() as selector:
        selector.register(sentinel, selectors.EVENT_READ)
        while (seconds := sentinel.seconds_to_wait()) is None:
            assert selector.select(10)
            sentinel.events()
    return seconds


def test_a_command_that_cannot_be_started_is_a_problem_and_no_crash(stop: StopToken) -> None:
    sentinel = Sentinel(stop, ("/nonexistent/python",))
    sentinel.start()
    assert sentinel.events() == ()
    assert "cannot be started: No such file" in (sentinel.problem or "")
    with pytest.raises(HostUnreadableError, match="cannot be started"):
        sentinel.read(1)
    sentinel.close()


def test_once_told_to_stop_a_reading_waits_no_longer(make: Make, stop: StopToken) -> None:
    sentinel = make(HANGS)
    threading.Timer(0.2, stop.set).start()
    began = time.monotonic()
    assert sentinel.read(30) is None
    assert time.monotonic() - began < 1


def test_a_source_that_is_refused_stays_a_problem_while_all_else_works(make: Make) -> None:
    sentinel = make(
        "if asked == 'watch': event('Permission denied', EventKind.REFUSED, 'uevents')", ANSWERS
    )
    assert sentinel.read(10) is not None
    [event] = heard(sentinel, 1)
    assert event.kind is EventKind.REFUSED
    assert sentinel.problem == "uevents cannot be heard: Permission denied"


def test_while_three_hang_no_more_readings_are_begun_but_events_are_heard(
    make: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SIGKILL does nothing to a process that waits for a drive; here it is not sent."""
    unkilled: list[InventoryProcess] = []

    def leave(left: LeftBehind, process: InventoryProcess) -> None:
        unkilled.append(process)
        left._processes.append(process)

    monkeypatch.setattr(LeftBehind, "kill", leave)
    monkeypatch.setattr(service, "RESTART_SECONDS", (0.0,))
    sentinel = make(TOLD, HANGS)
    for _ in range(3):
        with pytest.raises(HostUnreadableError):
            sentinel.read(0.5)
    began = time.monotonic()
    with pytest.raises(HostUnreadableError, match=f"process {unkilled[0].pid}"):
        sentinel.read(10)
    assert time.monotonic() - began < 0.3
    assert len(unkilled) == 3
    heard(sentinel, 1)
    assert (sentinel.problem or "").count("hangs in the kernel") == 3
    for process in unkilled:
        process.kill()


def test_it_hears_this_machine_s_kernel_and_reads_it(stop: StopToken) -> None:
    found = sorted(Path("/sys/class/block").glob("loop*/uevent"))
    if not found or not os.access(found[0], os.W_OK):
        pytest.skip("no loop device here whose event may be asked for")
    sentinel = Sentinel(stop, COMMAND)
    sentinel.start()
    assert sentinel.read(30) is not None
    began = time.monotonic()
    found[0].write_text("change", encoding="ascii")
    told = heard(sentinel, 1)
    seconds = time.monotonic() - began
    name = found[0].parent.name
    assert KernelEvent(kind=EventKind.BLOCK, subject=name, action="change") in told
    assert seconds < 0.5
    sentinel.close()


def test_closing_gives_every_descriptor_back(stop: StopToken) -> None:
    before = len(os.listdir("/proc/self/fd"))
    sentinel = Sentinel(stop, command(ANSWERS))
    sentinel.start()
    sentinel.read(10)
    sentinel.close()
    assert len(os.listdir("/proc/self/fd")) == before
