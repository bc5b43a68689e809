"""Many machines: which of them, which array, how far from expected."""

from __future__ import annotations

from collections.abc import Iterator

from fleet.grafana.board import HERE, board, firing, text_of
from fleet.grafana.look import VERMILLION, Line, Panel, graph, listing, number

_OF_ARRAY = f"on (job, instance, array) group_left (name, level) arraygauge_array_info{{{HERE}}}"


def overview() -> str:
    dashboard = board(
        "arraygauge-fleet",
        "Arrays of all machines",
        "Which machine, which array, and how far from what its drives, links and level allow.",
        many=True,
    ).annotation(firing("Causes", "cause"))
    for panel in (*_numbers(), *_lists(), *_graphs()):
        dashboard = dashboard.with_panel(panel)
    return text_of(dashboard)


def _numbers() -> Iterator[Panel]:
    yield number(
        "Machines that answer",
        "Agents that Prometheus could scrape last time.",
        "short",
        f"sum(up{{{HERE}}})",
        None,
    )
    yield number(
        "Machines that do not",
        "Agents that Prometheus could not scrape last time.",
        "short",
        f"count(up{{{HERE}}} == 0) or vector(0)",
        1,
    )
    yield number(
        "Incidents open",
        "Causes of trouble that agents have found, of all severities.",
        "short",
        f"sum(instance:arraygauge_incidents_open:sum{{{HERE}}})",
        1,
    )
    yield number(
        "Members missing",
        "Members that arrays are made for and that do not serve.",
        "short",
        f"sum(instance:arraygauge_array_members_missing:sum{{{HERE}}})",
        1,
    )


def _lists() -> Iterator[Panel]:
    yield listing(
        "Open incidents",
        "Each cause, and the array it touches. The agent's own words: `arraygauge incidents`.",
        f"arraygauge_incident_info{{{HERE}}}",
        {"instance": "Machine", "name": "Cause", "matter": "Matter", "severity": "Severity"},
    )
    yield listing(
        "Farthest below expected",
        "Measured reading over the expected ceiling, the twenty lowest.",
        f"bottomk(20, arraygauge_array_read_ratio{{{HERE}}} * {_OF_ARRAY})",
        {"instance": "Machine", "name": "Array", "level": "Level"},
        ("Of expected", "percentunit"),
    )
    yield listing(
        "Protection",
        "What stands between each array's data and the next failure.",
        f"arraygauge_array_protection_info{{{HERE}}} * {_OF_ARRAY}",
        {"instance": "Machine", "name": "Array", "level": "Level", "protection": "Protection"},
    )


def _graphs() -> Iterator[Panel]:
    yield graph(
        "Lowest array of each machine",
        "Measured reading over the expected ceiling, of the machine's lowest array.",
        "percentunit",
        [Line(query=f"instance:arraygauge_array_read_ratio:min{{{HERE}}}", legend="{{instance}}")],
    )
    yield graph(
        "Lowest drive of each machine",
        "Measured reading over what peers or rating say, of the machine's lowest drive.",
        "percentunit",
        [Line(query=f"instance:arraygauge_device_read_ratio:min{{{HERE}}}", legend="{{instance}}")],
    )
    yield graph(
        "Incidents by severity",
        "How many are open on all chosen machines.",
        "short",
        [
            Line(
                query=f"sum by (severity) (arraygauge_incidents_open{{{HERE}}})",
                legend="{{severity}}",
                colour=VERMILLION,
            )
        ],
    )
    yield graph(
        "Age of the latest pass",
        "How old the figures of each machine are.",
        "s",
        [
            Line(
                query=f"time() - arraygauge_pass_timestamp_seconds{{{HERE}}}", legend="{{instance}}"
            )
        ],
    )
