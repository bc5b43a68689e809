"""The latest pass as Prometheus metrics. A scrape reads memory only.

Names follow the Prometheus naming practice: one prefix, base units, read and write
as separate metrics, facts in `_info`. Labels hold stable ids, because the kernel's
names change at boot; the readable name stands in the info metric. What is unknown
is absent, never 0.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, InfoMetricFamily
from prometheus_client.metrics_core import Metric
from prometheus_client.registry import Collector

from arraygauge import __version__
from arraygauge.judge import ArrayVerdict, DeviceVerdict, Pace, Protection, Status
from arraygauge.judge.pace import rate_of

PREFIX = "arraygauge_"


class StatusCollector(Collector):
    """Builds every family afresh from the latest status, so removed devices vanish with it."""

    def __init__(self) -> None:
        self._status: Status | None = None
        self._passes = 0
        self._failures = 0

    def publish(self, status: Status) -> None:
        """Replace the whole status at once."""
        self._passes += 1
        self._status = status

    def note_failure(self) -> None:
        """A pass that ended in an error; the latest status stands."""
        self._failures += 1

    def describe(self) -> Iterable[Metric]:
        return []

    def collect(self) -> Iterator[Metric]:
        status = self._status
        yield _info("build", "Version of the agent.", [], [({}, {"version": __version__})])
        passes = CounterMetricFamily(PREFIX + "passes", "Passes over the machine since start.")
        passes.add_metric([], self._passes)
        yield passes
        failures = CounterMetricFamily(
            PREFIX + "pass_failures", "Passes that ended in an error of the agent's own."
        )
        failures.add_metric([], self._failures)
        yield failures
        if status is not None:
            yield from _pass_metrics(status)
            yield from _array_metrics(status.arrays)
            yield from _device_metrics(status.devices)


def _pass_metrics(status: Status) -> Iterator[Metric]:
    yield _gauge(
        "pass_timestamp_seconds",
        "When the latest pass took its inventory, seconds since the epoch.",
        [],
        [([], status.host.taken_at_seconds)],
    )
    yield _gauge(
        "pass_duration_seconds", "How long the latest pass took.", [], [([], status.seconds)]
    )
    yield _gauge(
        "unreadable_kernel_files",
        "Kernel files the latest pass should have been able to read and could not.",
        [],
        [([], len(status.host.problems))],
    )


def _array_metrics(arrays: tuple[ArrayVerdict, ...]) -> Iterator[Metric]:
    yield _info(
        "array",
        "Facts of an array: its present kernel name and its level.",
        ["array"],
        [
            (
                {"array": v.array.stable_id},
                {"name": v.array.name, "level": v.array.level_text or ""},
            )
            for v in arrays
        ],
    )
    yield _info(
        "array_bottleneck",
        "The resource with the largest demand when the array reads at its expected ceiling.",
        ["array"],
        [
            (
                {"array": v.array.stable_id},
                {"resource": v.expectation.bottleneck.name, "kind": v.expectation.bottleneck.kind},
            )
            for v in arrays
            if v.expectation is not None
        ],
    )
    yield from _array_rates(arrays)
    yield _gauge(
        "array_members_working",
        "Members that serve current data.",
        ["array"],
        [([v.array.stable_id], v.health.working) for v in arrays if _is_known(v)],
    )
    yield _gauge(
        "array_members_wanted",
        "Members the array is made for.",
        ["array"],
        [([v.array.stable_id], v.health.wanted) for v in arrays],
    )
    yield _states(
        "array_pace",
        "Measured against expected: 1 for the present word.",
        Pace,
        [(v.array.stable_id, v.pace) for v in arrays],
    )
    yield _states(
        "array_protection",
        "State of redundancy: 1 for the present word.",
        Protection,
        [(v.array.stable_id, v.health.protection) for v in arrays],
    )


def _is_known(verdict: ArrayVerdict) -> bool:
    return verdict.health.protection not in (Protection.STOPPED, Protection.UNKNOWN)


def _array_rates(arrays: tuple[ArrayVerdict, ...]) -> Iterator[Metric]:
    expected = [(v.array.stable_id, v.expectation) for v in arrays if v.expectation is not None]
    yield _gauge(
        "array_read_expected_floor_bytes_per_second",
        "Least the array should read sequentially in its present health.",
        ["array"],
        [([name], band.floor_bytes_per_second) for name, band in expected],
    )
    yield _gauge(
        "array_read_expected_ceiling_bytes_per_second",
        "Most the array can read sequentially in its present health.",
        ["array"],
        [([name], band.ceiling_bytes_per_second) for name, band in expected],
    )
    yield _gauge(
        "array_read_measured_bytes_per_second",
        "Sequential reads of the array, as last measured.",
        ["array"],
        [([v.array.stable_id], rate) for v in arrays if (rate := rate_of(v.attempt)) is not None],
    )
    yield _gauge(
        "array_read_ratio",
        "Measured over expected ceiling.",
        ["array"],
        [([v.array.stable_id], v.ratio) for v in arrays if v.ratio is not None],
    )


def _device_metrics(devices: tuple[DeviceVerdict, ...]) -> Iterator[Metric]:
    yield _info(
        "device",
        "Facts of a drive or partition: its present kernel name, model and attachment.",
        ["device"],
        [
            (
                {"device": v.device.stable_id},
                {
                    "name": v.device.name,
                    "model": v.device.model or "",
                    "transport": v.device.transport,
                },
            )
            for v in devices
        ],
    )
    yield _gauge(
        "device_read_measured_bytes_per_second",
        "Sequential reads of the device by itself, as last measured.",
        ["device"],
        [([v.device.stable_id], rate) for v in devices if (rate := rate_of(v.attempt)) is not None],
    )
    yield _gauge(
        "device_read_ratio",
        "Measured over what its rating or peers say it should do.",
        ["device"],
        [([v.device.stable_id], v.ratio) for v in devices if v.ratio is not None],
    )


Sample = tuple[list[str], float]


def _gauge(name: str, text: str, labels: list[str], samples: list[Sample]) -> Metric:
    family = GaugeMetricFamily(PREFIX + name, text, labels=labels)
    for values, number in samples:
        family.add_metric(values, number)
    return family


def _info(
    name: str, text: str, labels: list[str], facts: list[tuple[dict[str, str], dict[str, str]]]
) -> Metric:
    family = InfoMetricFamily(PREFIX + name, text, labels=labels)
    for identity, fact in facts:
        family.add_metric([identity[label] for label in labels], fact)
    return family


def _states(
    name: str,
    text: str,
    words: type[Pace] | type[Protection],
    present: Iterable[tuple[str, Pace | Protection]],
) -> Metric:
    """One series a word, the present one 1 and the others 0."""
    samples: list[Sample] = [
        ([array, str(word)], float(word is now)) for array, now in present for word in words
    ]
    return _gauge(name, text, ["array", words.__name__.lower()], samples)
