"""The whole way on the real programs: a broken array is one message to the desk, by its cause."""

from __future__ import annotations

import json
import re
import time
import urllib.parse
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest

from fleet.captured_agent import CapturedAgent, captured_agent
from fleet.programs import alertmanager, prometheus, require, until
from fleet.shipped import FOLDER, shipped
from unit.service.loopback_hook import Hook, hooked

HURRY = re.compile(r"(for|group_wait|group_interval|scrape_interval|evaluation_interval): \S+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Facility:
    """One agent, watched by the shipped rules and routing with their waits cut to a second."""

    agent: CapturedAgent
    prometheus: str
    desk: Hook

    def ask(self, query: str) -> list[dict[str, Any]]:
        """What Prometheus answers to a query now."""
        url = f"http://{self.prometheus}/api/v1/query?" + urllib.parse.urlencode({"query": query})
        with urllib.request.urlopen(url, timeout=5) as answer:
            found: list[dict[str, Any]] = json.load(answer)["data"]["result"]
        return found

    def messages(self, array: str) -> list[dict[str, Any]]:
        return [each for each in self.desk.received if each["groupLabels"].get("array") == array]


def hurried(text: str) -> str:
    """The same with every wait a second long."""
    return HURRY.sub(r"\1: 1s", text)


@pytest.fixture(scope="module")
def facility(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Facility]:
    require("prometheus", "prometheus-alertmanager")
    folder = tmp_path_factory.mktemp("facility")
    (folder / "rules").mkdir()
    for name in ("rules/alerts.yml", "rules/recordings.yml"):
        (folder / name).write_text(hurried((FOLDER / name).read_text()))
    routing = folder / "alertmanager.yml"
    with captured_agent(folder) as agent, hooked() as desk:
        text = hurried((FOLDER / "alertmanager.yml").read_text())
        routing.write_text(text.replace("http://127.0.0.1:9848/alerts", desk.url))
        with alertmanager(folder, routing) as alerts:
            scraping = hurried((FOLDER / "prometheus.yml").read_text())
            scraping = scraping.replace("127.0.0.1:9093", alerts)
            scraping = scraping.replace("127.0.0.1:9847", agent.address)
            with prometheus(folder, scraping) as address:
                yield Facility(agent=agent, prometheus=address, desk=desk)


def test_a_broken_array_is_told_once_by_its_cause_and_then_resolved(facility: Facility) -> None:
    agent, array = facility.agent, "name-md1"
    until(lambda: bool(facility.ask("arraygauge_array_info")), 10, "a scrape")
    assert not facility.messages(array)
    agent.fail_member()
    agent.look()
    until(lambda: bool(facility.messages(array)), 15, "a message about the broken mirror")
    until(
        lambda: bool(facility.ask('ALERTS{alertname="ArraygaugeMembersMissing"}')), 10, "a symptom"
    )
    time.sleep(3)  # as long as three more messages would need
    [message] = facility.messages(array)
    assert message["status"] == "firing"
    assert message["groupLabels"] == {"instance": agent.address, "array": array}
    [alert] = message["alerts"]
    [incident] = [
        str(each.number) for each in agent.keeper.open_incidents if each.finding.arrays == ("md1",)
    ]
    assert alert["labels"] == {
        "alertname": "ArraygaugeIncidentCritical",
        "array": array,
        "cause": "serial-VSQC485f",
        "incident": incident,
        "instance": agent.address,
        "job": "arraygauge",
        "matter": "no redundancy left",
        "name": "vdb",
        "role": "cause",
        "severity": "critical",
    }
    agent.mend_member()
    agent.look()
    time.sleep(2.5)  # over is believed at the second look
    agent.look()
    until(lambda: len(facility.messages(array)) > 1, 15, "that it is over")
    time.sleep(3)
    assert [each["status"] for each in facility.messages(array)] == ["firing", "resolved"]
    assert not facility.ask('ALERTS{alertstate="firing"}')


def test_every_query_of_the_dashboards_gets_data(facility: Facility) -> None:
    """From a Prometheus that scraped an agent whose mirror is being rebuilt."""
    agent = facility.agent
    agent.fail_member()
    agent.rebuild_member()
    agent.look()
    agent.measure()
    until(lambda: bool(facility.ask("arraygauge_array_sync_ratio == 0.25")), 10, "the rebuild")
    until(lambda: bool(facility.ask('ALERTS{alertstate="firing", role="symptom"}')), 10, "alerts")
    assert not [query for query in dashboard_queries() if not facility.ask(query)]


def dashboard_queries() -> list[str]:
    """Variables are filled as Grafana would; annotations are queries too."""
    found = []
    for name, text in shipped().items():
        if name.endswith(".json"):
            document = json.loads(text)
            targets = [target for panel in document["panels"] for target in panel["targets"]]
            found += [each["expr"] for each in (*targets, *document["annotations"]["list"])]
    assert len(found) > 30
    return [filled(query) for query in found]


def filled(query: str) -> str:
    for variable in ("$job", "$instance", "$array"):
        query = query.replace(variable, ".+")
    return query.replace("$__rate_interval", "1m")
