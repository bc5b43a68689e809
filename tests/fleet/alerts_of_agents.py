"""Alerts about the agents themselves: nobody watches a machine whose agent does not."""

from __future__ import annotations

from fleet.alerts_of_arrays import ON, TARGET
from fleet.rules import Alert, AlertSeverity, Case, Role

_STATUS = "See how it fares: `systemctl status arraygauge` and `journalctl -u arraygauge`."


def _series(name: str, values: str, labels: str = "") -> dict[str, str]:
    more = f", {labels}" if labels else ""
    return {f"{name}{{{TARGET}{more}}}": values}


def _passes(timestamp: str) -> dict[str, str]:
    return {
        **_series("arraygauge_pass_timestamp_seconds", timestamp),
        **_series("arraygauge_pass_interval_seconds", "600x120"),
    }


ALERTS_OF_AGENTS = (
    Alert(
        name="ArraygaugeAgentDown",
        query='up{job="arraygauge"} == 0',
        lasting="5m",
        severity=AlertSeverity.WARNING,
        role=Role.CAUSE,
        summary="An agent cannot be scraped.",
        description="{{ $labels.instance }} has not answered for five minutes.",
        meaning="The machine is off or cannot be reached, or its agent does not run: nobody "
        "watches its arrays through this Prometheus.",
        steps=("See whether the machine is on.", _STATUS),
        fires=Case(series=_series("up", "0x20"), at="10m", labels=ON),
        quiet=Case(series=_series("up", "1x20"), at="10m"),
    ),
    Alert(
        name="ArraygaugePartHangs",
        query="time() - arraygauge_heartbeat_timestamp_seconds > 180",
        lasting="2m",
        severity=AlertSeverity.WARNING,
        role=Role.CAUSE,
        summary="A part of an agent makes no progress.",
        description="On {{ $labels.instance }} a part of the agent hangs; it still answers.",
        meaning="Usually a drive or a disk for its history holds it up in the kernel.",
        steps=(_STATUS, "Read what the kernel said: `journalctl -k`."),
        fires=Case(
            series=_series("arraygauge_heartbeat_timestamp_seconds", "60x20"),
            at="10m",
            labels=ON,
        ),
        quiet=Case(series=_series("arraygauge_heartbeat_timestamp_seconds", "0+60x20"), at="10m"),
    ),
    Alert(
        name="ArraygaugePassOverdue",
        query="time() - arraygauge_pass_timestamp_seconds"
        " > 3 * arraygauge_pass_interval_seconds + 600",
        lasting="5m",
        severity=AlertSeverity.WARNING,
        role=Role.SYMPTOM,
        summary="An agent has not measured for three intervals.",
        description="{{ $labels.instance }}: the latest pass is {{ $value | humanizeDuration }} "
        "old.",
        meaning="What the dashboards show of its rates is old; its health is still watched.",
        steps=(_STATUS, "Measure by hand: `arraygauge check`."),
        fires=Case(series=_passes("0x120"), at="60m", labels=ON, value="1h 0m 0s"),
        quiet=Case(series=_passes("0+60x120"), at="60m"),
    ),
    Alert(
        name="ArraygaugePassesFail",
        query="increase(arraygauge_pass_failures_total[3h]) >= 2",
        lasting="5m",
        severity=AlertSeverity.WARNING,
        role=Role.CAUSE,
        summary="An agent's passes end in errors of its own.",
        description="On {{ $labels.instance }} passes failed twice or more in three hours.",
        meaning="A fault in the agent or in what it stands on, not in an array.",
        steps=(_STATUS, "Report the message, with `arraygauge inventory --json`."),
        fires=Case(
            series=_series("arraygauge_pass_failures_total", "0x20 4x100"), at="60m", labels=ON
        ),
        quiet=Case(series=_series("arraygauge_pass_failures_total", "0x20 1x100"), at="60m"),
    ),
    Alert(
        name="ArraygaugeMessagesWait",
        query="arraygauge_messages_waiting > 0",
        lasting="1h",
        severity=AlertSeverity.WARNING,
        role=Role.CAUSE,
        summary="Messages of an agent do not get through.",
        description="On {{ $labels.instance }} {{ $value }} wait for {{ $labels.channel }}.",
        meaning="Whoever is told by that channel does not know what the agent has found.",
        steps=("Try it: `arraygauge tell-test`.", "Look at the address, the secret, the network."),
        fires=Case(
            series=_series("arraygauge_messages_waiting", "3x120", 'channel="desk"'),
            at="90m",
            labels={**ON, "channel": "desk"},
            value="3",
        ),
        quiet=Case(
            series=_series("arraygauge_messages_waiting", "0x120", 'channel="desk"'), at="90m"
        ),
    ),
    Alert(
        name="ArraygaugeMessagesLost",
        query="increase(arraygauge_messages_given_up_total[1d]) > 0",
        lasting="1m",
        severity=AlertSeverity.WARNING,
        role=Role.CAUSE,
        summary="Messages of an agent were given up.",
        description="On {{ $labels.instance }} messages to {{ $labels.channel }} were given up.",
        meaning="They were tried for as long as `[telling]` says and never arrived.",
        steps=("Read what they said: `arraygauge incidents`.", "Try it: `arraygauge tell-test`."),
        fires=Case(
            series=_series("arraygauge_messages_given_up_total", "0x20 1x100", 'channel="desk"'),
            at="60m",
            labels={**ON, "channel": "desk"},
        ),
        quiet=Case(
            series=_series("arraygauge_messages_given_up_total", "1x120", 'channel="desk"'),
            at="60m",
        ),
    ),
    Alert(
        name="ArraygaugeKernelUnreadable",
        query="arraygauge_unreadable_kernel_files > 0",
        lasting="1h",
        severity=AlertSeverity.INFO,
        role=Role.CAUSE,
        summary="An agent cannot read all it should of the kernel.",
        description="On {{ $labels.instance }} {{ $value }} files cannot be read.",
        meaning="What they would show is not watched.",
        steps=("See which, and why: `arraygauge inventory`.",),
        fires=Case(
            series=_series("arraygauge_unreadable_kernel_files", "2x120"),
            at="90m",
            labels=ON,
            value="2",
        ),
        quiet=Case(series=_series("arraygauge_unreadable_kernel_files", "0x120"), at="90m"),
    ),
    Alert(
        name="ArraygaugeBudgetSpent",
        query="(arraygauge_device_budget_left_ratio < 0.01)"
        " * on (job, instance, device) group_left (name) arraygauge_device_info",
        lasting="1d",
        severity=AlertSeverity.INFO,
        role=Role.CAUSE,
        summary="A drive's probing budget has been spent for a day.",
        description="{{ $labels.name }} on {{ $labels.instance }} is measured less often than it "
        "is asked to be.",
        meaning="The agent keeps to its budget and leaves passes out.",
        steps=("Measure less often (`[run]`), or allow more (`[budget]`).",),
        fires=Case(
            series={
                **_series("arraygauge_device_budget_left_ratio", "0x2000", 'device="wwn-1"'),
                **_series("arraygauge_device_info", "1x2000", 'device="wwn-1", name="sdb"'),
            },
            at="1450m",
            labels={**ON, "device": "wwn-1", "name": "sdb"},
        ),
        quiet=Case(
            series={
                **_series("arraygauge_device_budget_left_ratio", "0.3x2000", 'device="wwn-1"'),
                **_series("arraygauge_device_info", "1x2000", 'device="wwn-1", name="sdb"'),
            },
            at="1450m",
        ),
    ),
)
