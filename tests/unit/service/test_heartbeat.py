"""The sign of life: sent while all parts make progress, silent when one hangs."""

from __future__ import annotations

import logging
import threading
import time

import pytest

from arraygauge.config.heartbeat import HeartbeatSection
from arraygauge.probe.stop import StopToken
from arraygauge.service.heartbeat import Heartbeat
from arraygauge.service.parts import Pulse
from arraygauge.tell.channel_state import TROUBLE_ATTEMPTS
from arraygauge.tell.heartbeat_json import heartbeat_document
from arraygauge.tell.incident_reasons import reason_of
from arraygauge.tell.sender import Message
from arraygauge.tell.status_line import Standing
from unit.service.loopback_hook import hooked


class Beating:
    """A heartbeat in a thread, whose document is made to order."""

    def __init__(self, url: str | None) -> None:
        self.stop = StopToken()
        self.document: Message | None = heartbeat_document("invented", 1.0, Standing())
        self.news: list[int] = []
        self.heartbeat = Heartbeat(
            self.section(url) if url else None,
            self.stop,
            lambda: self.document,
            lambda: self.news.append(1),
        )
        pulse = Pulse("heartbeat", lambda: None, time.monotonic)
        self.thread = threading.Thread(target=self.heartbeat.run, args=(pulse,), daemon=True)
        self.thread.start()

    @staticmethod
    def section(url: str) -> HeartbeatSection:
        """More often than a configuration may ask for."""
        return HeartbeatSection.model_construct(
            **{**HeartbeatSection(url=url, timeout_seconds=0.5).__dict__, "interval_seconds": 0.05}
        )

    def end(self) -> None:
        self.stop.set()
        self.thread.join(5)
        assert not self.thread.is_alive()


def test_it_is_sent_again_and_again() -> None:
    with hooked() as hook:
        beating = Beating(hook.url)
        hook.wait_for(3)
        beating.end()
    assert hook.accepted[0]["format"] == "arraygauge.heartbeat/1"
    assert not beating.heartbeat.findings


def test_it_is_silent_while_a_part_hangs() -> None:
    with hooked() as hook:
        beating = Beating(hook.url)
        hook.wait_for(1)
        beating.document = None
        time.sleep(0.3)
        heard = len(hook.accepted)
        time.sleep(0.3)
        assert len(hook.accepted) == heard
        beating.end()


def test_that_it_does_not_arrive_is_found_once_it_has_failed_for_a_while(
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level(logging.CRITICAL)
    with hooked() as hook:
        url = hook.url
    beating = Beating(url)
    deadline = time.monotonic() + 10
    while not (found := beating.heartbeat.findings):
        assert time.monotonic() < deadline
        time.sleep(0.02)
    assert f"the last {TROUBLE_ATTEMPTS} attempts failed" in reason_of(found[0])
    assert beating.news, "whoever tells of it is woken"
    beating.end()


def test_without_a_section_nothing_is_sent_until_there_is_one() -> None:
    with hooked() as hook:
        beating = Beating(None)
        time.sleep(0.2)
        assert not hook.received
        beating.heartbeat.reconfigure(Beating.section(hook.url))
        hook.wait_for(1)
        beating.end()
