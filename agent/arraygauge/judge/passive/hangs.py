"""Requests in flight of which none completes: a stall, and from three seconds on a hang.

Three seconds is practice from published field studies, long before the kernel's own thirty.
The start is known as well as the readings are close, and better once it is over: each
request that waited adds its whole wait to the kernel's sums when it completes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from arraygauge.inventory.counters import IoCounters
from arraygauge.judge.passive.values import Stall

HANG_SECONDS = 3.0
AT_REST_SECONDS = 2.0
"""Between readings of a device that does nothing."""
AT_WORK_SECONDS = 0.5
"""Between readings while requests move: a freeze that starts then is told within 3 s."""
QUIET_SECONDS = 0.25
"""Between readings while requests wait and none completes."""

_SHORTEST_SECONDS = 0.5
"""Shorter stretches without a completion are a matter of queueing, and are in the mean wait."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Quiet:
    """Nothing completed since some moment from ``earliest`` to ``latest``, when ``waited``
    requests were in flight; ``in_flight`` are now."""

    earliest: float
    latest: float
    waited: int
    in_flight: int


@dataclass(frozen=True, slots=True, kw_only=True)
class HangWatch:
    """One device, reading after reading. ``stall`` is the one going on, or the one that the
    last reading found over; ``wanted_seconds`` is when the next reading is wanted."""

    device: str
    stall: Stall | None = None
    wanted_seconds: float = AT_REST_SECONDS
    moment: float | None = None
    counters: IoCounters | None = None
    quiet: _Quiet | None = None

    def with_reading(self, moment: float, counters: IoCounters | None) -> HangWatch:
        """The watch after a reading at ``moment``, seconds on a clock that does not step."""
        if counters is None or self.counters is None or self.moment is None:
            return self._anew(moment, counters)
        late = moment - self.moment > 2 * self.wanted_seconds + AT_REST_SECONDS
        moved = _completions(counters) != _completions(self.counters)
        if (late and not moved and not self._told) or _stepped_back(self.counters, counters):
            return self._anew(moment, counters)
        if moved or not counters.in_flight:
            return self._going(moment, counters, self._ended(moment, counters))
        return self._waiting(moment, counters)

    @property
    def _told(self) -> bool:
        return self.stall is not None and self.stall.hang and not self.stall.over

    def _anew(self, moment: float, counters: IoCounters | None) -> HangWatch:
        """Nothing is known of the time before: it was not read, or the machine slept."""
        busy = counters is not None and counters.in_flight
        return HangWatch(
            device=self.device,
            wanted_seconds=AT_WORK_SECONDS if busy else AT_REST_SECONDS,
            moment=moment,
            counters=counters,
            quiet=_quiet(moment, moment, counters),
        )

    def _going(self, moment: float, counters: IoCounters, ended: Stall | None) -> HangWatch:
        """Requests complete, or there are none."""
        moved = self.counters is None or _completions(counters) != _completions(self.counters)
        at_work = moved or counters.in_flight
        earliest = moment if self.moment is None else self.moment
        return replace(
            self,
            stall=ended,
            wanted_seconds=AT_WORK_SECONDS if at_work else AT_REST_SECONDS,
            moment=moment,
            counters=counters,
            quiet=_quiet(earliest, moment, counters),
        )

    def _waiting(self, moment: float, counters: IoCounters) -> HangWatch:
        """Requests are in flight and none completed since the last reading."""
        earliest = moment if self.moment is None else self.moment
        quiet = self.quiet or _quiet(earliest, moment, counters)
        if quiet is None:
            return self._going(moment, counters, None)
        quiet = replace(quiet, in_flight=counters.in_flight)
        return replace(
            self,
            stall=_stall(self.device, quiet, moment),
            wanted_seconds=QUIET_SECONDS,
            moment=moment,
            counters=counters,
            quiet=quiet,
        )

    def _ended(self, moment: float, counters: IoCounters) -> Stall | None:
        """The stall that this reading found over, if there was one worth recording."""
        if self.stall is None or self.stall.over or self.moment is None or self.quiet is None:
            return None
        end = (moment + self.moment) / 2
        uncertain = (moment - self.moment) / 2
        began = (self.quiet.earliest + self.quiet.latest) / 2
        spread = (self.quiet.latest - self.quiet.earliest) / 2
        waited = _wait_of_stalled(self, counters)
        if waited is not None and spread > uncertain:
            began = max(self.quiet.earliest, min(self.quiet.latest, end - waited))
            spread = uncertain
        return replace(
            self.stall,
            began_at_seconds=began,
            seconds=end - began,
            error_seconds=uncertain + spread,
            hang=self.stall.hang or end - began >= HANG_SECONDS,
            over=True,
        )


def frames_lost(stall_seconds: float, frames_per_second: float) -> float:
    """Frames that should have been shown during a stall."""
    return stall_seconds * frames_per_second


def _quiet(earliest: float, latest: float, counters: IoCounters | None) -> _Quiet | None:
    """A stretch that may begin here, if requests are in flight."""
    if counters is None or not counters.in_flight:
        return None
    waited = counters.in_flight
    return _Quiet(earliest=earliest, latest=latest, waited=waited, in_flight=waited)


def _stall(device: str, quiet: _Quiet, moment: float) -> Stall | None:
    """What is known while it lasts. A hang is told when it may have lasted three seconds and
    surely has but for the time between two readings at work."""
    began = (quiet.earliest + quiet.latest) / 2
    surely, possibly = moment - quiet.latest, moment - quiet.earliest
    if surely < _SHORTEST_SECONDS:
        return None
    return Stall(
        device=device,
        began_at_seconds=began,
        seconds=moment - began,
        error_seconds=(quiet.latest - quiet.earliest) / 2,
        in_flight=quiet.in_flight,
        hang=possibly >= HANG_SECONDS - 1e-6 and surely >= HANG_SECONDS - AT_WORK_SECONDS - 1e-6,
        over=False,
    )


def _wait_of_stalled(watch: HangWatch, counters: IoCounters) -> float | None:
    """Mean wait of the requests that were stuck, from the sums they added to when they
    completed; what completed after them waited little. None where more joined them."""
    if watch.counters is None or watch.quiet is None:
        return None
    counted = counters.since(watch.counters)
    stuck = min(counted.reads + counted.writes, watch.quiet.waited)
    if not stuck or watch.quiet.in_flight != watch.quiet.waited:
        return None
    return (counted.read_seconds + counted.write_seconds) / stuck


def _completions(counters: IoCounters) -> tuple[int, int, int, int]:
    return (counters.reads, counters.writes, counters.discards or 0, counters.flushes or 0)


def _stepped_back(earlier: IoCounters, later: IoCounters) -> bool:
    pairs = zip(_completions(earlier), _completions(later), strict=True)
    return any(after < before for before, after in pairs)
