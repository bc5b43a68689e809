"""Every metric, once. The families that are served, the document, the rules and the dashboards
are all held to this table: what is not in it cannot be served or asked for.

Names follow the Prometheus naming practice (prometheus.io/docs/practices/naming): one prefix,
base units, read and write as separate metrics, facts in `_info`. Labels hold stable ids,
because the kernel's names change at boot; the readable name stands in the info metric. Of a
state only the present word is a series.
"""

from __future__ import annotations

from arraygauge.tell.metrics.values import Kind, MetricSpec, Unit

_RATE = Unit.BYTES_PER_SECOND


def _gauge(name: str, text: str, unit: Unit = Unit.NONE, *labels: str) -> MetricSpec:
    return MetricSpec(name=name, kind=Kind.GAUGE, help=text, unit=unit, labels=labels)


def _counter(name: str, text: str, *labels: str, unit: Unit = Unit.NONE) -> MetricSpec:
    return MetricSpec(name=name, kind=Kind.COUNTER, help=text, unit=unit, labels=labels)


def _info(name: str, text: str, labels: str, facts: str) -> MetricSpec:
    return MetricSpec(
        name=name,
        kind=Kind.INFO,
        help=text,
        labels=tuple(labels.split()),
        facts=tuple(facts.split()),
    )


_ARRAYS = (
    _info("array", "An array: its present kernel name and its level.", "array", "name level"),
    _info("array_state", "The kernel's word for the array's state.", "array", "state"),
    _info(
        "array_protection",
        "Whole, settling, reduced, none left, none by design, broken, stopped or unknown.",
        "array",
        "protection",
    ),
    _info(
        "array_pace",
        "Latest pass: as expected, short of it, above it, nothing to compare with, not measured.",
        "array",
        "pace",
    ),
    _info(
        "array_bottleneck",
        "The resource with the largest demand when the array reads at its expected ceiling.",
        "array",
        "resource kind",
    ),
    _gauge("array_members_working", "Members that serve current data.", Unit.NONE, "array"),
    _gauge("array_members_wanted", "Members the array is made for.", Unit.NONE, "array"),
    _info(
        "array_sync",
        "What the array does to itself, while it does: the kernel's sync action.",
        "array",
        "action",
    ),
    _gauge("array_sync_ratio", "How much of the present sync action is done.", Unit.RATIO, "array"),
    _gauge(
        "array_sync_bytes_per_second", "Rate of the present sync action, a member.", _RATE, "array"
    ),
    _gauge(
        "array_read_floor_bytes_per_second",
        "Least the array should read sequentially in its present health.",
        _RATE,
        "array",
    ),
    _gauge(
        "array_read_ceiling_bytes_per_second",
        "Most the array can read sequentially in its present health.",
        _RATE,
        "array",
    ),
    _gauge(
        "array_read_bytes_per_second",
        "Sequential reads of the array as the latest pass measured them.",
        _RATE,
        "array",
    ),
    _gauge(
        "array_read_low_bytes_per_second",
        "Lower end of the 95 % interval of the measured rate.",
        _RATE,
        "array",
    ),
    _gauge(
        "array_read_high_bytes_per_second",
        "Upper end of the 95 % interval of the measured rate.",
        _RATE,
        "array",
    ),
    _gauge("array_read_ratio", "Measured over expected ceiling.", Unit.RATIO, "array"),
    _gauge(
        "array_write_bytes_per_second",
        "Sequential writes to an own file on the array as last measured, up to a write cliff.",
        _RATE,
        "array",
    ),
    _gauge(
        "array_write_ratio",
        "Measured writes over what declared write rates allow.",
        Unit.RATIO,
        "array",
    ),
    _gauge(
        "array_footage_promised_streams",
        "Streams of that footage the configuration declares to be played at once.",
        Unit.NONE,
        "array",
        "footage",
    ),
    _gauge(
        "array_footage_carried_streams",
        "Streams of it the array carries at most, its headroom left free, as of the latest pass.",
        Unit.NONE,
        "array",
        "footage",
    ),
    _gauge(
        "array_read_timestamp_seconds",
        "When the array's rate was measured; its age is time() less this.",
        Unit.TIMESTAMP,
        "array",
    ),
)

_DEVICES = (
    _info(
        "device",
        "A drive or member: its present kernel name, its model, the array it is a member of.",
        "device",
        "name model array",
    ),
    _gauge(
        "device_read_bytes_per_second",
        "Sequential reads of the device by itself as the latest pass measured them.",
        _RATE,
        "device",
    ),
    _gauge(
        "device_read_ratio",
        "Measured over what its rating or its peers say it should do.",
        Unit.RATIO,
        "device",
    ),
    _gauge(
        "device_write_bytes_per_second",
        "Sequential writes to an own file on the drive as last measured, up to a write cliff.",
        _RATE,
        "device",
    ),
    _gauge(
        "device_write_ratio",
        "Measured writes over what declared write rates allow.",
        Unit.RATIO,
        "device",
    ),
    _gauge(
        "device_temperature_celsius",
        "The drive's own temperature as its latest measurement began.",
        Unit.CELSIUS,
        "device",
    ),
    _gauge(
        "device_budget_left_ratio",
        "Share of an hour's probing budget, in bytes or busy seconds, left after the latest pass.",
        Unit.RATIO,
        "device",
    ),
    _gauge(
        "link_negotiated_bytes_per_second",
        "What the link carries at the rate it trained to, encoding and packets paid for.",
        _RATE,
        "link",
    ),
    _gauge(
        "link_maximum_bytes_per_second",
        "What it would carry at the highest rate the kernel says it could train to.",
        _RATE,
        "link",
    ),
)

_INCIDENTS = (
    _gauge("incidents_open", "Incidents that are open, by severity.", Unit.NONE, "severity"),
    _info(
        "incident",
        "An open incident, by its number and cause, once for each array it touches; the worst 20.",
        "cause array",
        "incident name matter severity",
    ),
)

_AGENT = (
    _info("build", "The agent.", "", "version"),
    _counter("passes", "Passes over the machine since start."),
    _counter("pass_failures", "Passes that ended in an error of the agent's own."),
    _gauge("pass_timestamp_seconds", "When the latest pass began.", Unit.TIMESTAMP),
    _gauge("pass_duration_seconds", "How long the latest pass took.", Unit.SECONDS),
    _gauge("pass_interval_seconds", "From one pass to the next, as configured.", Unit.SECONDS),
    _gauge(
        "budget_spent_bytes",
        "What probing moved on all drives in the 24 hours before the latest pass ended.",
        Unit.BYTES,
    ),
    _gauge("look_timestamp_seconds", "When the kernel's state was read last.", Unit.TIMESTAMP),
    _gauge(
        "unreadable_kernel_files",
        "Kernel files the latest look should have been able to read and could not.",
    ),
    _gauge(
        "heartbeat_timestamp_seconds",
        "When every part of the agent was last seen to make progress.",
        Unit.TIMESTAMP,
    ),
    _gauge("messages_waiting", "Messages still to be delivered.", Unit.NONE, "channel"),
    _gauge(
        "channel_failures",
        "Attempts in a row that failed, 0 after one that did not.",
        Unit.NONE,
        "channel",
    ),
    _counter("messages_delivered", "Messages that arrived, since start.", "channel"),
    _counter("messages_given_up", "Messages given up undelivered, since start.", "channel"),
)

TABLE: tuple[MetricSpec, ...] = (*_ARRAYS, *_DEVICES, *_INCIDENTS, *_AGENT)
