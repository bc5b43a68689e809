"""One machine: measured against the expected band, members side by side, wall, links, heat."""

from __future__ import annotations

from collections.abc import Iterator

from fleet.grafana.board import HERE, array_choice, board, firing, text_of
from fleet.grafana.look import BLUE, GREEN, PURPLE, VERMILLION, Line, Panel, bars, graph, listing

_CHOSEN = f'arraygauge_array_info{{{HERE}, name=~"$array"}}'
_OF_ARRAY = f"on (job, instance, array) group_left (name, level) {_CHOSEN}"
_OF_DEVICE = f"on (job, instance, device) group_left (name) arraygauge_device_info{{{HERE}}}"


def workstation() -> str:
    dashboard = (
        board(
            "arraygauge-workstation",
            "Arrays of one machine",
            "What each array gives, against what its drives, links and level allow, and why.",
            many=False,
        )
        .with_variable(array_choice())
        .annotation(firing("Causes", "cause"))
        .annotation(firing("Symptoms", "symptom"))
    )
    for panel in (*_arrays(), *_members(), *_agent()):
        dashboard = dashboard.with_panel(panel)
    return text_of(dashboard)


def _rate(name: str) -> str:
    return f"arraygauge_array_read_{name}bytes_per_second{{{HERE}}} * {_OF_ARRAY}"


def _arrays() -> Iterator[Panel]:
    yield listing(
        "Open incidents",
        "Each cause, and the array it touches. The agent's own words: `arraygauge incidents`.",
        f"arraygauge_incident_info{{{HERE}}}",
        {"name": "Cause", "matter": "Matter", "severity": "Severity", "incident": "Number"},
    )
    yield listing(
        "Arrays",
        "The kernel's word for each, and what stands between its data and the next failure.",
        f"arraygauge_array_protection_info{{{HERE}}} * {_OF_ARRAY} * on (job, instance, array)"
        f" group_left (state) arraygauge_array_state_info{{{HERE}}}",
        {"name": "Array", "level": "Level", "state": "State", "protection": "Protection"},
    )
    yield graph(
        "Measured against expected",
        "Sequential reading: the rate with its 95 % interval (thin steps between passes), and the "
        "band between the least and the most the model expects.",
        "Bps",
        [
            Line(query=_rate("ceiling_"), legend="{{name}} expected at most", colour=GREEN),
            Line(
                query=_rate("floor_"),
                legend="{{name}} expected at least",
                colour=GREEN,
                dashed=True,
            ),
            Line(query=_rate(""), legend="{{name}} measured", colour=BLUE),
            Line(query=_rate("low_"), legend="{{name}} low", colour=PURPLE, dashed=True),
            Line(query=_rate("high_"), legend="{{name}} high", colour=PURPLE, dashed=True),
        ],
        24,
    )
    yield listing(
        "What bounds each array",
        "The wall: the resource with the largest demand at the expected ceiling.",
        f"arraygauge_array_read_ceiling_bytes_per_second{{{HERE}}} * {_OF_ARRAY}"
        " * on (job, instance, array) group_left (resource, kind)"
        f" arraygauge_array_bottleneck_info{{{HERE}}}",
        {"name": "Array", "resource": "Bottleneck", "kind": "Kind"},
        ("Expected at most", "Bps"),
    )
    yield graph(
        "Share of expected",
        "Measured reading over the expected ceiling.",
        "percentunit",
        [Line(query=f"arraygauge_array_read_ratio{{{HERE}}} * {_OF_ARRAY}", legend="{{name}}")],
    )
    yield graph(
        "Members at work and wanted",
        "Members that serve current data, and those the array is made for.",
        "short",
        [
            Line(
                query=f"arraygauge_array_members_working{{{HERE}}} * {_OF_ARRAY}",
                legend="{{name}} working",
            ),
            Line(
                query=f"arraygauge_array_members_wanted{{{HERE}}} * {_OF_ARRAY}",
                legend="{{name}} wanted",
                colour=GREEN,
                dashed=True,
            ),
        ],
    )
    yield graph(
        "Synchronising: done",
        "How much of a rebuild, check or reshape is done; empty while there is none.",
        "percentunit",
        [Line(query=f"arraygauge_array_sync_ratio{{{HERE}}} * {_OF_ARRAY}", legend="{{name}}")],
    )
    yield graph(
        "Synchronising: rate",
        "How fast each member synchronises; empty while none does.",
        "Bps",
        [
            Line(
                query=f"arraygauge_array_sync_bytes_per_second{{{HERE}}} * {_OF_ARRAY}",
                legend="{{name}}",
            )
        ],
    )


def _members() -> Iterator[Panel]:
    rates = f"arraygauge_device_read_bytes_per_second{{{HERE}}} * {_OF_DEVICE}"
    yield bars(
        "Members side by side",
        "Each drive read by itself in the latest pass.",
        "Bps",
        rates,
        "{{name}}",
    )
    yield graph(
        "Members over time",
        "The same, pass by pass.",
        "Bps",
        [Line(query=rates, legend="{{name}}")],
    )
    yield graph(
        "Drives against peers or rating",
        "Measured reading over what its rating or its peers say it should do.",
        "percentunit",
        [Line(query=f"arraygauge_device_read_ratio{{{HERE}}} * {_OF_DEVICE}", legend="{{name}}")],
    )
    yield graph(
        "Temperatures",
        "Each drive's own, as its latest measurement began; drives without a sensor are absent.",
        "celsius",
        [
            Line(
                query=f"arraygauge_device_temperature_celsius{{{HERE}}} * {_OF_DEVICE}",
                legend="{{name}}",
                colour=VERMILLION,
            )
        ],
    )
    yield graph(
        "Links",
        "What each link carries as trained, and what it could at most.",
        "Bps",
        [
            Line(query=f"arraygauge_link_negotiated_bytes_per_second{{{HERE}}}", legend="{{link}}"),
            Line(
                query=f"arraygauge_link_maximum_bytes_per_second{{{HERE}}}",
                legend="{{link}} at most",
                colour=GREEN,
                dashed=True,
            ),
        ],
    )
    yield graph(
        "Budget left",
        "The smallest share of each drive's probing budget left after the latest pass.",
        "percentunit",
        [
            Line(
                query=f"arraygauge_device_budget_left_ratio{{{HERE}}} * {_OF_DEVICE}",
                legend="{{name}}",
            )
        ],
    )


def _agent() -> Iterator[Panel]:
    yield graph(
        "Age of what is known",
        "Since the latest pass measured, and since every part of the agent was seen to work.",
        "s",
        [
            Line(
                query=f"time() - arraygauge_pass_timestamp_seconds{{{HERE}}}", legend="latest pass"
            ),
            Line(
                query=f"time() - arraygauge_heartbeat_timestamp_seconds{{{HERE}}}",
                legend="heartbeat",
                colour=PURPLE,
                dashed=True,
            ),
        ],
    )
    yield graph(
        "Passes",
        "Passes that ended, and those that ended in an error of the agent's own.",
        "cps",
        [
            Line(
                query=f"rate(arraygauge_passes_total{{{HERE}}}[$__rate_interval])",
                legend="ended",
            ),
            Line(
                query=f"rate(arraygauge_pass_failures_total{{{HERE}}}[$__rate_interval])",
                legend="failed",
                colour=VERMILLION,
                dashed=True,
            ),
        ],
    )
    yield graph(
        "Messages waiting",
        "Messages still to be delivered, by channel.",
        "short",
        [Line(query=f"arraygauge_messages_waiting{{{HERE}}}", legend="{{channel}}")],
    )
