"""How the agent itself fares, as samples."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from arraygauge import __version__
from arraygauge.inventory.values import Host
from arraygauge.judge import Status
from arraygauge.tell.channel_state import ChannelState
from arraygauge.tell.metrics.values import Sample
from arraygauge.values import frozen


@frozen
class AgentHealth:
    """``heartbeat_seconds`` since 1970; None before the first. ``interval_seconds`` None where
    nothing is measured on schedule. ``build`` is the version, and what is unusual about it."""

    build: str = __version__
    passes: int = 0
    pass_failures: int = 0
    interval_seconds: float | None = None
    heartbeat_seconds: float | None = None


def agent_samples(health: AgentHealth) -> Iterator[Sample]:
    yield Sample(name="build", labels=(health.build,))
    yield Sample(name="passes", number=health.passes)
    yield Sample(name="pass_failures", number=health.pass_failures)
    if health.interval_seconds is not None:
        yield Sample(name="pass_interval_seconds", number=health.interval_seconds)
    if health.heartbeat_seconds is not None:
        yield Sample(name="heartbeat_timestamp_seconds", number=health.heartbeat_seconds)


def pass_samples(status: Status) -> Iterator[Sample]:
    yield Sample(name="pass_timestamp_seconds", number=status.host.taken_at_seconds)
    yield Sample(name="pass_duration_seconds", number=status.seconds)


def look_samples(host: Host) -> Iterator[Sample]:
    yield Sample(name="look_timestamp_seconds", number=host.taken_at_seconds)
    yield Sample(name="unreadable_kernel_files", number=len(host.problems))


def channel_samples(channels: Iterable[ChannelState]) -> Iterator[Sample]:
    for state in channels:
        for name, number in (
            ("messages_waiting", state.waiting),
            ("channel_failures", state.failures),
            ("messages_delivered", state.delivered),
            ("messages_given_up", state.given_up),
        ):
            yield Sample(name=name, labels=(state.channel,), number=number)
