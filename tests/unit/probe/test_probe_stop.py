"""The stop token: set once, seen by all, usable from a signal handler."""

from __future__ import annotations

import os
import signal
import threading
import time

import pytest

from arraygauge.probe.stop import StopToken


def test_it_is_unset_until_set_and_stays_set(stop: StopToken) -> None:
    assert not stop.is_set()
    stop.set()
    stop.set()
    assert stop.is_set()
    assert stop.is_set()


def test_waiting_ends_after_its_time(stop: StopToken) -> None:
    began = time.monotonic()
    assert not stop.wait(0.05)
    assert time.monotonic() - began >= 0.05


def test_setting_it_wakes_every_waiting_thread(stop: StopToken) -> None:
    woken: list[bool] = []
    threads = [threading.Thread(target=lambda: woken.append(stop.wait(10))) for _ in range(3)]
    for thread in threads:
        thread.start()
    stop.set()
    for thread in threads:
        thread.join(5)
    assert woken == [True, True, True]


def test_a_signal_handler_may_set_it_while_the_main_thread_waits(stop: StopToken) -> None:
    before = signal.signal(signal.SIGALRM, lambda *_: stop.set())
    try:
        signal.setitimer(signal.ITIMER_REAL, 0.05)
        assert stop.wait(None)
    finally:
        signal.signal(signal.SIGALRM, before)


def test_setting_it_after_closing_touches_no_descriptor_that_took_its_number() -> None:
    token = StopToken()
    number = token.fileno()
    token.close()
    successor = os.eventfd(0, os.EFD_NONBLOCK)
    try:
        assert successor == number
        token.set()
        with pytest.raises(BlockingIOError):
            os.eventfd_read(successor)
    finally:
        os.close(successor)
