"""Alerts about arrays and drives: the agent's incidents as causes, plain figures as symptoms."""

from __future__ import annotations

from fleet.rules import Alert, AlertSeverity, Case, Role

TARGET = 'job="arraygauge", instance="edit1:9847"'
ON = {"job": "arraygauge", "instance": "edit1:9847"}
_NAMED = " * on (job, instance, array) group_left (name) arraygauge_array_info"
_INFO = {f'arraygauge_array_info{{{TARGET}, array="md-a", name="md0", level="raid5"}}': "1x6000"}
_NAMES = {**ON, "array": "md-a", "name": "md0"}
_READ_MESSAGE = (
    "Read the incident with its reason: `arraygauge incidents`, or `/incidents.json` beside the "
    "metrics."
)
_MEASURE = "Measure it now: `arraygauge check`."
_EXPLAIN = "See what it should give, and why: `arraygauge explain ARRAY`."


def _incident(alert: str, word: str, severity: AlertSeverity, lasting: str, urgency: str) -> Alert:
    facts = 'cause="wwn-1", array="md-a", incident="7", name="sdb", matter="slow member"'
    labels = {**ON, "cause": "wwn-1", "array": "md-a", "incident": "7", "name": "sdb"}
    series = f'arraygauge_incident_info{{{TARGET}, {facts}, severity="WORD"}}'
    other = "minor" if word != "minor" else "information"
    return Alert(
        name=alert,
        query=f'arraygauge_incident_info{{severity="{word}"}}',
        lasting=lasting,
        severity=severity,
        role=Role.CAUSE,
        summary=f"The agent has found the cause of a {word} trouble.",
        description="{{ $labels.name }} on {{ $labels.instance }}: {{ $labels.matter }} "
        "(incident {{ $labels.incident }}).",
        meaning="The agent names the cause, one incident for each, whatever it shows as. "
        f"{urgency} While this is told, symptoms of the same array are not.",
        steps=(_READ_MESSAGE, "Do what it says to look at next, and mind what it says to avoid."),
        fires=Case(
            series={series.replace("WORD", word): "1x60"},
            at="30m",
            labels={**labels, "matter": "slow member"},
        ),
        quiet=Case(series={series.replace("WORD", other): "1x60"}, at="30m"),
    )


def _pace(word: str) -> dict[str, str]:
    return {f'arraygauge_array_pace_info{{{TARGET}, array="md-a", pace="{word}"}}': "1x6000"}


def _members(working: int) -> dict[str, str]:
    array = f'{{{TARGET}, array="md-a"}}'
    return {
        f"arraygauge_array_members_working{array}": f"{working}x60",
        f"arraygauge_array_members_wanted{array}": "4x60",
    }


def _device(ratio: float) -> dict[str, str]:
    facts = 'device="wwn-1", name="sdb", model="Invented Drive", array="md-a"'
    return {
        f'arraygauge_device_read_ratio{{{TARGET}, device="wwn-1"}}': f"{ratio}x120",
        f"arraygauge_device_info{{{TARGET}, {facts}}}": "1x120",
    }


def _protection(word: str) -> dict[str, str]:
    name = "arraygauge_array_protection_info"
    return {f'{name}{{{TARGET}, array="md-a", protection="{word}"}}': "1x60"}


def _sync(values: str) -> dict[str, str]:
    return {f'arraygauge_array_sync_ratio{{{TARGET}, array="md-a"}}': values}


ALERTS_OF_ARRAYS = (
    _incident(
        "ArraygaugeIncidentCritical",
        "critical",
        AlertSeverity.CRITICAL,
        "30s",
        "Data is at risk now.",
    ),
    _incident("ArraygaugeIncidentMajor", "major", AlertSeverity.WARNING, "1m", "See to it today."),
    _incident(
        "ArraygaugeIncidentMinor", "minor", AlertSeverity.INFO, "15m", "Nothing is at risk yet."
    ),
    Alert(
        name="ArraygaugeDataIncomplete",
        query=f'arraygauge_array_protection_info{{protection="broken"}}{_NAMED}',
        lasting="2m",
        severity=AlertSeverity.CRITICAL,
        role=Role.SYMPTOM,
        summary="An array has lost more members than it can do without.",
        description="{{ $labels.name }} on {{ $labels.instance }} cannot give all of its data.",
        meaning="Part of the data cannot be read. Every attempt to put it right can make it worse.",
        steps=(
            "Stop all work on the array and change nothing.",
            "See whether a drive only lost its cable, port or power: `arraygauge inventory`.",
            "Note the order of the drives, and ask a recovery professional.",
        ),
        fires=Case(
            series={**_protection("broken"), **_INFO},
            at="5m",
            labels={**_NAMES, "protection": "broken"},
        ),
        quiet=Case(series={**_protection("reduced"), **_INFO}, at="5m"),
    ),
    Alert(
        name="ArraygaugeMembersMissing",
        query=f"(arraygauge_array_members_wanted - arraygauge_array_members_working > 0){_NAMED}",
        lasting="2m",
        severity=AlertSeverity.WARNING,
        role=Role.SYMPTOM,
        summary="An array works with fewer members than it is made for.",
        description="{{ $labels.name }} on {{ $labels.instance }} misses {{ $value }} of its "
        "members.",
        meaning="There is less redundancy than was meant, or none.",
        steps=(
            _READ_MESSAGE,
            "Where no redundancy is left, copy what is nowhere else first.",
            "Look at cable, port and power before the drive itself; then replace it.",
        ),
        fires=Case(series={**_members(3), **_INFO}, at="5m", labels=_NAMES, value="1"),
        quiet=Case(series={**_members(4), **_INFO}, at="5m"),
    ),
    Alert(
        name="ArraygaugeArrayShort",
        query=f'arraygauge_array_pace_info{{pace="short of it"}}{_NAMED}',
        lasting="75m",
        severity=AlertSeverity.WARNING,
        role=Role.SYMPTOM,
        summary="An array reads more slowly than its level, members and links allow.",
        description="{{ $labels.name }} on {{ $labels.instance }} was short of what it should "
        "give in two passes.",
        meaning="Two hourly passes found it so. Playback and copies may stutter; no data is at "
        "risk from this alone.",
        steps=(_MEASURE, _EXPLAIN, "Compare the members side by side on the dashboard."),
        fires=Case(
            series={**_pace("short of it"), **_INFO},
            at="80m",
            labels={**_NAMES, "pace": "short of it"},
        ),
        quiet=Case(series={**_pace("as expected"), **_INFO}, at="80m"),
    ),
    Alert(
        name="ArraygaugeMemberSlow",
        query="(arraygauge_device_read_ratio < 0.8)"
        " * on (job, instance, device) group_left (name, array) arraygauge_device_info",
        lasting="75m",
        severity=AlertSeverity.INFO,
        role=Role.SYMPTOM,
        summary="A drive reads a fifth or more below its peers or its rating.",
        description="{{ $labels.name }} on {{ $labels.instance }} gives "
        "{{ $value | humanizePercentage }} of what it should.",
        meaning="One slow member slows a striped or parity array as a whole.",
        steps=(_MEASURE, "Look at its cable, port and temperature; plan to replace it."),
        fires=Case(
            series=_device(0.5),
            at="80m",
            labels={**ON, "device": "wwn-1", "name": "sdb", "array": "md-a"},
            value="50%",
        ),
        quiet=Case(series=_device(0.95), at="80m"),
    ),
    Alert(
        name="ArraygaugeSyncStalled",
        query="(changes(arraygauge_array_sync_ratio[30m]) == 0 and arraygauge_array_sync_ratio"
        f" and arraygauge_array_sync_ratio offset 30m){_NAMED}",
        lasting="10m",
        severity=AlertSeverity.WARNING,
        role=Role.SYMPTOM,
        summary="An array's rebuild, check or reshape makes no progress.",
        description="{{ $labels.name }} on {{ $labels.instance }} has synchronised nothing for "
        "half an hour.",
        meaning="Until it is done the array has less redundancy than it should.",
        steps=(
            "See whether it is frozen or waits for another array: `arraygauge inventory`.",
            "Read what the kernel said: `journalctl -k`.",
        ),
        fires=Case(series={**_sync("0.5x120"), **_INFO}, at="90m", labels=_NAMES),
        quiet=Case(series={**_sync("0.1 0.9 _x120"), **_INFO}, at="20m"),
    ),
    Alert(
        name="ArraygaugeNotMeasured",
        query=f'arraygauge_array_pace_info{{pace="not measured"}}{_NAMED}',
        lasting="1d",
        severity=AlertSeverity.INFO,
        role=Role.SYMPTOM,
        summary="An array could not be measured for a day.",
        description="{{ $labels.name }} on {{ $labels.instance }} found no quiet moment, has no "
        "redundancy left, or may not be read.",
        meaning="Nothing is known of its speed; the watch over its health goes on.",
        steps=("Read the reason: `arraygauge check`.", "Give it another time: `[budget]`."),
        fires=Case(
            series={**_pace("not measured"), **_INFO},
            at="1450m",
            labels={**_NAMES, "pace": "not measured"},
        ),
        quiet=Case(series={**_pace("as expected"), **_INFO}, at="1450m"),
    ),
)
