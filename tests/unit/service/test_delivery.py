"""Messages arrive once, in order, whatever the other side does; who hears nothing is named."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from arraygauge.history import Channel, History, open_history
from arraygauge.history.silences import end_silence, silence
from arraygauge.judge.findings import Severity
from arraygauge.service.delivery import Delivering, finding_of
from arraygauge.tell.channel_state import TROUBLE_ATTEMPTS
from arraygauge.tell.incident_reasons import reason_of
from unit.history.conftest import InventedClock
from unit.service.delivery_scene import HOOK, Recorder, Scene

DAY = 86400.0


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    with open_history(tmp_path / "history.sqlite") as opened:
        yield opened


@pytest.fixture
def scene(history: History) -> Scene:
    return Scene(history=history, clock=InventedClock(), sender=Recorder())


def test_a_message_is_sent_once(scene: Scene) -> None:
    scene.look("sdc")
    for _ in range(3):
        scene.send()
    assert scene.sender.told == [(1, "opened")]
    assert scene.sender.sent[0]["message_id"]
    [state] = scene.delivering.states
    assert (state.waiting, state.delivered, state.troubled) == (0, 1, False)


def test_failures_are_tried_again_ever_more_slowly(scene: Scene) -> None:
    scene.sender.failing = True
    scene.look("sdc")
    waits = []
    for _ in range(14):
        wait = scene.send()
        waits.append(wait)
        scene.passes(wait)
    # The longest rest is bounded by how often silences are looked at.
    assert waits[:6] == [1, 2, 4, 8, 16, 32]
    attempts = scene.sender.attempts
    scene.sender.failing = False
    scene.send_after(900)
    assert scene.sender.attempts == attempts + 1
    assert scene.sender.told == [(1, "opened")]


def test_jitter_takes_off_up_to_half(history: History) -> None:
    scene = Scene(history=history, clock=InventedClock(), sender=Recorder(failing=True))
    scene.delivering = Delivering(
        scene.outbox, history, [scene.sender], scene.clock, chance=lambda: 1.0
    )
    scene.look("sdc")
    assert scene.send() == pytest.approx(0.5)


def test_attempts_and_their_waits_outlive_a_restart(scene: Scene) -> None:
    scene.sender.failing = True
    scene.look("sdc")
    for wait in (0, 1, 2, 4):
        scene.send_after(wait)
    assert scene.sender.attempts == 4
    scene.restart()
    assert scene.send_after(1) == pytest.approx(7)
    assert scene.sender.attempts == 4
    assert scene.send_after(7) == pytest.approx(16)
    assert scene.sender.attempts == 5


def test_a_clock_set_back_for_years_delays_nothing(scene: Scene) -> None:
    scene.sender.failing = True
    scene.look("sdc")
    scene.send()
    assert isinstance(scene.clock, InventedClock)
    scene.clock.wall_seconds -= 3000 * DAY
    scene.sender.failing = False
    scene.send_after(1)
    assert scene.sender.told == [(1, "opened")]


def test_what_the_other_side_asks_to_wait_is_waited(scene: Scene) -> None:
    scene.sender.failing, scene.sender.wait_seconds = True, 33.0
    scene.look("sdc")
    assert scene.send() == pytest.approx(33.0)


def test_the_end_never_overtakes_the_beginning(scene: Scene) -> None:
    scene.sender.failing = True
    scene.look("sdc")
    scene.send()
    scene.passes(0.5)
    scene.close_all()
    scene.sender.failing = False
    scene.send_after(30)
    assert scene.sender.told == [(1, "opened"), (1, "closed")]


def test_one_failing_channel_does_not_hold_up_another(history: History) -> None:
    bad = Recorder(name="bad", failing=True)
    scene = Scene(
        history=history,
        clock=InventedClock(),
        sender=Recorder(),
        channels=(Channel(name="bad"), HOOK),
    )
    scene.delivering = Delivering(scene.outbox, history, [bad, scene.sender], scene.clock)
    scene.look("sdc")
    scene.send()
    assert (scene.sender.told, bad.attempts) == ([(1, "opened")], 1)


def test_a_channel_that_fails_is_left_alone_by_all_messages(scene: Scene) -> None:
    scene.sender.failing = True
    scene.look("sdc", "sdd", "sde")
    scene.send()
    assert scene.sender.attempts == 1


def test_once_a_channel_works_again_all_that_waited_goes_out(scene: Scene) -> None:
    scene.sender.failing = True
    scene.look("sdc", "sdd")
    for _ in range(12):
        scene.passes(scene.send())
    scene.sender.failing = False
    scene.outbox.added.clear()
    for _ in range(20):
        scene.send_after(60)
        if scene.sender.sent:
            break
    assert len(scene.sender.sent) == 2 or scene.outbox.added.is_set(), "it looks again at once"
    scene.send_after(0.1)
    assert sorted(scene.sender.told) == [(1, "opened"), (2, "opened")]


def test_its_own_failure_is_visible_and_ends(scene: Scene) -> None:
    scene.sender.failing = True
    scene.look("sdc")
    for _ in range(TROUBLE_ATTEMPTS):
        assert scene.delivering.troubles == ()
        scene.passes(scene.send())
    [trouble] = scene.delivering.troubles
    assert (trouble.channel, trouble.last_error) == ("hook", "invented failure")
    assert (trouble.waiting, trouble.failures) == (1, TROUBLE_ATTEMPTS)
    finding = finding_of(trouble)
    assert finding.severity is Severity.MINOR
    assert reason_of(finding) == (
        "1 message waits to be sent by hook; the last 5 attempts failed: invented failure."
    )
    scene.sender.failing = False
    scene.send_after(900)
    assert scene.delivering.troubles == ()


def test_what_is_too_old_is_given_up_and_counted(scene: Scene) -> None:
    scene.sender.failing = True
    scene.look("sdc")
    scene.send()
    scene.send_after(3 * DAY + 1)
    assert scene.sender.attempts == 2, "the machine may have slept: it is tried once more"
    scene.send_after(900)
    [state] = scene.delivering.states
    assert (state.given_up, state.troubled, scene.sender.attempts) == (1, True, 2)
    assert finding_of(state).severity is Severity.MAJOR
    assert "1 message never arrived and was given up" in reason_of(finding_of(state))
    scene.sender.failing = False
    scene.look("sdd")
    scene.send_after(900)
    assert scene.sender.told == [(2, "opened")]


def test_messages_to_a_channel_that_is_configured_no_more_are_kept_and_given_up(
    scene: Scene,
) -> None:
    scene.look("sdc")
    scene.delivering = Delivering(scene.outbox, scene.history, [], scene.clock)
    scene.send()
    [state] = scene.delivering.states
    assert (state.channel, state.known, state.waiting) == ("hook", False, 1)
    scene.send_after(3 * DAY + 1)
    assert scene.outbox.lanes() == ()


def test_in_a_silence_nobody_is_told_and_afterwards_the_latest_is(scene: Scene) -> None:
    now = scene.clock().wall_seconds
    silence(scene.history, "invented-sdc", now + 600, now)
    scene.look("sdc", "sdd")
    scene.send()
    assert scene.sender.told == [(2, "opened")]
    scene.send_after(599)
    assert len(scene.sender.told) == 1
    scene.send_after(2)
    assert scene.sender.told == [(2, "opened"), (1, "opened")]


def test_what_began_and_ended_in_a_silence_is_never_told(scene: Scene) -> None:
    now = scene.clock().wall_seconds
    silence(scene.history, None, now + 600, now)
    scene.look("sdc")
    scene.send()
    scene.close_all()
    scene.send_after(700)
    assert scene.sender.told == []
    assert scene.outbox.lanes() == ()


def test_what_began_in_a_silence_and_ended_just_after_is_not_told_as_over(scene: Scene) -> None:
    now = scene.clock().wall_seconds
    silence(scene.history, None, now + 600, now)
    scene.look("sdc")
    scene.send()
    scene.passes(601)
    scene.close_all()
    scene.send()
    assert scene.sender.told == []


def test_the_end_of_what_was_told_before_a_silence_is_told_after_it(scene: Scene) -> None:
    scene.look("sdc")
    scene.send()
    now = scene.clock().wall_seconds
    silence(scene.history, None, now + 600, now)
    scene.close_all()
    scene.send()
    assert scene.sender.told == [(1, "opened")]
    assert end_silence(scene.history, None)
    scene.send()
    assert scene.sender.told == [(1, "opened"), (1, "closed")]
