"""The delivery thread against a real server on loopback that fails, delays and closes."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from arraygauge.history import open_history
from arraygauge.history.moment import Moment, system_clock
from arraygauge.judge.incidents import IncidentBook, advance
from arraygauge.service.delivery import Delivering
from arraygauge.service.parts import Pulse
from arraygauge.tell.webhook import Webhook
from unit.history.troubles import finding, looked, words
from unit.service.delivery_scene import HOOK, Recorder, Scene
from unit.service.loopback_hook import asking_for_time, closing, failing, fine, hooked, silent


@pytest.fixture
def live(tmp_path: Path) -> Iterator[Scene]:
    with open_history(tmp_path / "history.sqlite") as history:
        scene = Scene(history=history, clock=system_clock("invented"), sender=Recorder())
        yield scene
        end(scene)


def serve(scene: Scene, webhook: Webhook) -> None:
    scene.delivering = Delivering(scene.outbox, scene.history, [webhook], scene.clock)
    pulse = Pulse("delivery", lambda: None, time.monotonic)
    thread = threading.Thread(
        target=scene.delivering.run, args=(pulse,), name="delivery", daemon=True
    )
    thread.start()


def end(scene: Scene) -> None:
    """Tell it to end, and wait for that."""
    scene.delivering.stop()
    for thread in threading.enumerate():
        if thread.name == "delivery":
            thread.join(5)


def test_from_record_to_webhook_takes_a_fraction_of_a_second(live: Scene) -> None:
    took = []
    with hooked() as hook:
        serve(live, Webhook(name="hook", url=hook.url))
        for number in range(1, 11):
            began = time.monotonic()
            live.look(*(f"drive {each}" for each in range(number)))
            hook.wait_for(number)
            took.append(hook.times[-1] - began)
    took.sort()
    assert took[5] < 0.25
    assert took[-1] < 1.0


def test_a_server_that_fails_closes_and_says_nothing_gets_all_in_the_end(live: Scene) -> None:
    with hooked(failing, closing, silent, fine) as hook:
        serve(live, Webhook(name="hook", url=hook.url, timeout_seconds=0.5))
        live.look("sdc")
        hook.wait_for(1, seconds=20)
        time.sleep(0.3)
        assert len(hook.accepted) == 1
        assert len(hook.received) == 4
        assert len({each["message_id"] for each in hook.received}) == 1


def test_nobody_listening_is_an_error_and_no_crash(live: Scene) -> None:
    with hooked() as hook:
        url = hook.url
    serve(live, Webhook(name="hook", url=url))
    live.look("sdc")
    deadline = time.monotonic() + 5
    while not (states := live.delivering.states)[0].failures:
        assert time.monotonic() < deadline
        time.sleep(0.01)
    assert "refused" in (states[0].last_error or "")
    assert "hidden" not in (states[0].last_error or "")


def test_it_stops_at_once_while_it_waits(live: Scene) -> None:
    with hooked(asking_for_time) as hook:
        serve(live, Webhook(name="hook", url=hook.url))
        live.look("sdc")
        while not hook.received:
            time.sleep(0.01)
        began = time.monotonic()
        end(live)
        assert time.monotonic() - began < 0.5
    assert not any(thread.name == "delivery" for thread in threading.enumerate())


def test_a_full_thread_of_incidents_comes_out_in_order(live: Scene) -> None:
    """Opened and closed in quick turns while the server fails now and then."""
    turns = [failing, fine, fine] * 5
    with hooked(*turns, fine) as hook:
        serve(live, Webhook(name="hook", url=hook.url))
        moment: Moment = live.clock()
        book, at = IncidentBook(), moment.uptime_seconds
        for _ in range(5):
            for found in ((finding(),), (), ()):
                at += 2000.0 if found else 3.0
                book, changes = advance(book, looked(*found), at)
                live.records.record(changes, words, (HOOK,), live.clock())
        hook.wait_for(10, seconds=30)
        told = [(each["number"], each["change"]) for each in hook.accepted]
    assert told == [(n, kind) for n in range(1, 6) for kind in ("opened", "closed")]
