"""What is known of arrays, as samples: their state from the latest look, their rates from the
latest pass."""

from __future__ import annotations

from collections.abc import Iterator

from arraygauge.inventory.values import Array, Host, SyncAction
from arraygauge.judge import ArrayVerdict, Protection
from arraygauge.judge.footage_values import FootageVerdict
from arraygauge.judge.health import health_of
from arraygauge.judge.pace import rate_of
from arraygauge.probe.values import Measurement
from arraygauge.tell.metrics.values import Sample

_COUNTLESS = (Protection.STOPPED, Protection.UNKNOWN)


def array_samples(host: Host) -> Iterator[Sample]:
    """From the kernel's own words."""
    for array in host.arrays:
        key = (array.stable_id,)
        yield Sample(name="array", labels=(*key, array.name, array.level_text or ""))
        if array.state_text:
            yield Sample(name="array_state", labels=(*key, array.state_text))
        yield from _health(host, array)
        yield from _sync(array)


def _health(host: Host, array: Array) -> Iterator[Sample]:
    key = (array.stable_id,)
    health = health_of(host, array)
    yield Sample(name="array_protection", labels=(*key, health.protection))
    yield Sample(name="array_members_wanted", labels=key, number=health.wanted)
    if health.protection not in _COUNTLESS:
        yield Sample(name="array_members_working", labels=key, number=health.working)


def _sync(array: Array) -> Iterator[Sample]:
    key = (array.stable_id,)
    if array.sync_action not in (None, SyncAction.IDLE):
        yield Sample(name="array_sync", labels=(*key, str(array.sync_action)))
    if array.sync_done_bytes is not None and array.sync_total_bytes:
        done = array.sync_done_bytes / array.sync_total_bytes
        yield Sample(name="array_sync_ratio", labels=key, number=done)
        rate = array.sync_bytes_per_second
        if rate is not None:
            yield Sample(name="array_sync_bytes_per_second", labels=key, number=rate)


def array_rate_samples(verdict: ArrayVerdict) -> Iterator[Sample]:
    """What a pass measured, and what it should have."""
    key = (verdict.array.stable_id,)
    yield Sample(name="array_pace", labels=(*key, verdict.pace))
    if (band := verdict.expectation) is not None:
        limit = band.bottleneck
        yield Sample(name="array_bottleneck", labels=(*key, limit.name, limit.kind))
        for name, rate in (
            ("array_read_floor_bytes_per_second", band.floor_bytes_per_second),
            ("array_read_ceiling_bytes_per_second", band.ceiling_bytes_per_second),
        ):
            yield Sample(name=name, labels=key, number=rate)
    if verdict.ratio is not None:
        yield Sample(name="array_read_ratio", labels=key, number=verdict.ratio)
    for name, footage in {each.promise.name: each for each in verdict.footage}.items():
        yield from _footage((*key, name), footage)
    if isinstance(verdict.attempt, Measurement) and rate_of(verdict.attempt) is not None:
        yield from _measured(key, verdict.attempt)


def _footage(labels: tuple[str, ...], verdict: FootageVerdict) -> Iterator[Sample]:
    if verdict.promise.streams is not None:
        number = verdict.promise.streams
        yield Sample(name="array_footage_promised_streams", labels=labels, number=number)
    if (now := verdict.now) is not None:
        number = now.most_streams
        yield Sample(name="array_footage_carried_streams", labels=labels, number=number)


def _measured(key: tuple[str, ...], measurement: Measurement) -> Iterator[Sample]:
    ended = measurement.started_at_seconds + measurement.seconds
    for name, number in (
        ("array_read_bytes_per_second", measurement.bytes_per_second),
        ("array_read_low_bytes_per_second", measurement.low_bytes_per_second),
        ("array_read_high_bytes_per_second", measurement.high_bytes_per_second),
        ("array_read_timestamp_seconds", ended),
    ):
        if number is not None:
            yield Sample(name=name, labels=key, number=number)
