"""Verdicts on what the history holds: the latest measurements against the machine as it is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from arraygauge.history import MeasurementRecord
from arraygauge.history.measurements import plain_read_of
from arraygauge.inventory.values import Host
from arraygauge.judge import (
    Grounds,
    Status,
    assess_array,
    assess_device,
    peer_references,
    with_footage,
)
from arraygauge.probe.values import Attempt, Measurement, Outcome, Skipped, SkipReason


def status_of_past(
    host: Host, latest: Mapping[str, MeasurementRecord], grounds: Grounds, since_words: str
) -> Status:
    """As if all had been measured in one pass. ``latest`` by stable id; what it lacks is not
    measured, ``since_words`` says since when."""
    bodies = [(each.name, each.stable_id) for each in host.devices]
    bodies += [(each.name, each.stable_id) for each in host.arrays]
    attempts: dict[str, Attempt] = {
        name: attempt_of(name, latest.get(stable_id), since_words) for name, stable_id in bodies
    }
    members = {member.name for array in host.arrays for member in array.members}
    names = {array.name for array in host.arrays}
    drives = [
        each
        for each in host.devices
        if each.name not in names and (each.name in members or each.stable_id in latest)
    ]
    peers = peer_references(host, attempts)
    return Status(
        host=host,
        arrays=tuple(
            with_footage(host, assess_array(host, each, attempts, grounds), attempts, grounds)
            for each in host.arrays
        ),
        devices=tuple(
            assess_device(host, each, attempts[each.name], peers, grounds) for each in drives
        ),
        seconds=0.0,
    )


def attempt_of(name: str, record: MeasurementRecord | None, since_words: str) -> Attempt:
    """The attempt as far as the history keeps it: without its places."""
    asked = plain_read_of(record.workload) if record is not None else None
    if record is None or asked is None or record.rate is None:
        detail = f"nothing that gave a rate is kept since {since_words}"
        return Skipped(device=name, reason=SkipReason.STOPPED, detail=detail)
    workload, route = asked
    return Measurement(
        device=name,
        route=route,
        path="",
        workload=workload,
        outcome=Outcome(record.outcome),
        detail=None,
        started_at_seconds=record.started_at_seconds,
        seconds=record.seconds,
        bursts=1,
        bytes_read=record.bytes_read,
        bytes_per_second=record.rate,
        low_bytes_per_second=record.low,
        high_bytes_per_second=record.high,
        slope=None,
        latency=None,
        places=(),
        set_aside=(),
        temperature_celsius=record.temperature_celsius,
        slowest_link=None,
    )


def latest_by_id(records: Sequence[MeasurementRecord]) -> dict[str, MeasurementRecord]:
    """The newest of each stable id."""
    return {
        each.stable_id: each for each in sorted(records, key=lambda each: each.started_at_seconds)
    }
