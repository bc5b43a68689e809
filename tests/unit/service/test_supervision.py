"""A running agent under a supervisor: ready, alive, reloading, impaired, stopping."""

from __future__ import annotations

import json
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from unit.service.agent_process import QUIET, Agent, running
from unit.service.loopback_hook import hooked
from unit.service.notify_socket import Listener, listening

WATCHDOG_SECONDS = 2.0


@pytest.fixture
def listener(tmp_path: Path) -> Iterator[Listener]:
    with listening(str(tmp_path / "notify")) as opened:
        yield opened


def supervised(listener: Listener) -> dict[str, str]:
    """What a service manager puts in the environment."""
    return {"NOTIFY_SOCKET": listener.name, "WATCHDOG_USEC": str(round(WATCHDOG_SECONDS * 1e6))}


def impaired(agent: Agent) -> list[dict[str, Any]]:
    """Open incidents of the agent itself, as served."""
    document = json.loads(agent.scrape("/incidents.json"))
    return [
        each
        for each in document["incidents"]
        if each["matter"] == "agent impaired" and each["closed_at_seconds"] is None
    ]


def until(true: Callable[[], bool], seconds: float = 20.0) -> None:
    deadline = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < deadline
        time.sleep(0.05)


def test_it_says_ready_alive_how_it_stands_and_that_it_stops(
    listener: Listener, tmp_path: Path
) -> None:
    with running(tmp_path, environment=supervised(listener)) as agent:
        assert listener.hear_until("READY") == "READY=1"
        line = listener.hear_until("STATUS=watching")
        assert line.startswith("STATUS=watching 0 arrays and "), line
        before = len(listener.heard)
        listener.hear(2.5 * WATCHDOG_SECONDS)
        beats = listener.heard[before:].count("WATCHDOG=1")
        assert 4 <= beats <= 6, "every half of the time it is given"
        agent.terminate()
        listener.hear_until("STOPPING=1")


FAILING_PASSES = """
from pathlib import Path
from arraygauge.service import parts, passes, survey
parts.PAUSE_SECONDS = (0.2,)
passes.RETRY_SECONDS = 0.5
whole = survey.Surveyor.survey
def survey_or_fail(self, **more):
    if Path({mark!r}).exists():
        raise RuntimeError('invented failure')
    return whole(self, **more)
survey.Surveyor.survey = survey_or_fail
"""


@pytest.mark.measures
def test_a_part_that_fails_is_told_of_and_over_once_it_works_while_all_else_goes_on(
    listener: Listener, tmp_path: Path
) -> None:
    mark = tmp_path / "fail"
    mark.touch()
    fault = FAILING_PASSES.format(mark=str(mark))
    with running(tmp_path, fault=fault, environment=supervised(listener)) as agent:
        listener.hear_until("STATUS='passes' fails and is started again")
        until(lambda: len(impaired(agent)) == 1)
        [incident] = impaired(agent)
        assert incident["cause"]["name"] == "passes"
        assert "invented failure" in json.dumps(incident)
        assert "WATCHDOG=1" in listener.heard
        mark.unlink()
        until(lambda: not impaired(agent), 40)
        listener.hear_until("STATUS=watching")


HANGING_HTTP = """
import time
from arraygauge.service import http
http.BUSY_SECONDS = 0.5
def hang(server):
    time.sleep(3600)
http._serve_one = hang
"""


def test_the_watchdog_is_not_fed_while_a_part_hangs(listener: Listener, tmp_path: Path) -> None:
    with running(tmp_path, fault=HANGING_HTTP, environment=supervised(listener)) as agent:
        listener.hear_until("WATCHDOG")
        with pytest.raises(TimeoutError):
            agent_scrape_soon(agent)
        listener.hear_until("STATUS='http' hangs")
        before = len(listener.heard)
        listener.hear(2 * WATCHDOG_SECONDS)
        assert "WATCHDOG=1" not in listener.heard[before:]


def agent_scrape_soon(agent: Agent) -> None:
    with urllib.request.urlopen(f"http://{agent.address}/metrics", timeout=0.5):
        raise AssertionError("it was to hang")


def test_sighup_takes_up_the_configuration_and_a_mistake_keeps_the_old_one(
    listener: Listener, tmp_path: Path
) -> None:
    """Channels as the part that shows: nobody is told by the old configuration, then the hook
    is, of a mistake in the next; the address moves with the last."""
    with hooked() as hook, running(tmp_path, environment=supervised(listener)) as agent:
        listener.hear_until("STATUS=watching")
        telling = f"{QUIET}[[webhook]]\nurl = '{hook.url}'\n"
        agent.reload(telling)
        first = listener.hear_until("RELOADING=1")
        assert first.split("\n")[1].startswith("MONOTONIC_USEC=")
        listener.hear_until("READY=1")
        agent.reload(QUIET + "hour_byte = 1\n" + telling.removeprefix(QUIET))
        listener.hear_until("RELOADING=1")
        listener.hear_until("READY=1")
        line = listener.hear_until("STATUS=the configuration was not reloaded")
        assert "hour_byte" in line
        hook.wait_for(1)
        assert hook.accepted[0]["matter"] == "agent impaired"
        assert "hour_bytes" in json.dumps(hook.accepted[0]), "the remedy is told"
        agent.reload(telling)
        listener.hear_until("STATUS=watching")
        hook.wait_for(2)
        assert hook.accepted[1]["change"] == "closed"
        assert "hour_byte" in (tmp_path / "log").read_text()


def test_the_address_moves_with_the_configuration_and_stays_where_the_new_is_taken(
    listener: Listener, tmp_path: Path
) -> None:
    with hooked() as other, running(tmp_path, environment=supervised(listener)) as agent:
        listener.hear_until("STATUS=watching")
        taken = int(other.url.split(":")[2].split("/")[0])
        agent.reload(QUIET.replace("listen_port = 0", f"listen_port = {taken}"))
        listener.hear_until("STATUS=the configuration was not reloaded")
        assert "arraygauge_build" in agent.scrape()
    with running(tmp_path, environment=supervised(listener)) as agent:
        listener.hear_until("STATUS=watching")
        free = int(other.url.split(":")[2].split("/")[0])
        agent.reload(QUIET.replace("listen_port = 0", f"listen_port = {free}"))
        listener.hear_until("READY=1")
        assert "arraygauge_build" in agent.scrape(address=f"127.0.0.1:{free}")
        with pytest.raises(OSError, match="refused"):
            agent.scrape()


def test_a_heartbeat_is_posted_and_again_when_its_configuration_changes(
    listener: Listener, tmp_path: Path
) -> None:
    with hooked() as hook:
        configuration = f"{QUIET}[heartbeat]\nurl = '{hook.url}'\n"
        with running(
            tmp_path, configuration=configuration, environment=supervised(listener)
        ) as agent:
            hook.wait_for(1)
            [document] = hook.accepted
            assert document["format"] == "arraygauge.heartbeat/1"
            assert abs(document["sent_at_seconds"] - time.time()) < 60
            assert document["impaired"] is False
            agent.reload(configuration + "interval_seconds = 10\n")
            hook.wait_for(2)
