"""Whoever watches the counters can tell the agent's own probes from others' work."""

from __future__ import annotations

from arraygauge.probe.own_probes import OwnProbes
from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import Outcome
from unit.probe.probe_requests import request


def test_a_device_is_named_from_its_probes_beginning_until_asked_after_its_end() -> None:
    own = OwnProbes()
    assert own.take() == frozenset()
    with own.on("sda"):
        assert own.take() == {"sda"}
        with own.on("sdb"), own.on("sda"):
            pass
        assert own.take() == {"sda", "sdb"}
        assert own.take() == {"sda"}
    assert own.take() == {"sda"}
    assert own.take() == frozenset()


def test_a_probe_that_was_over_between_two_questions_is_named_once() -> None:
    own = OwnProbes()
    with own.on("sda"):
        pass
    assert own.take() == {"sda"}
    assert own.take() == frozenset()


def test_every_burst_of_the_prober_is_named() -> None:
    prober = Prober(StopToken(), ("/nonexistent/python",))
    asked = request("/nonexistent/device")
    assert prober.run(asked).outcome is Outcome.CRASHED
    assert prober.own_probes.take() == {asked.device}
