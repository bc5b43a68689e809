"""Requests in flight of which none completes: a stall, and from three seconds on a hang.

Three seconds is practice from published field studies, long before the kernel's own thirty.
The start is known as well as the readings are close, and better where the kernel counts busy
time up to the moment it is asked (before Linux 5.0, and again from 5.19 on: update_io_ticks in
block/genhd.c, from memory): nothing completed, so the time counted since is the wait so far. Once
it is over, each request that waited has added its whole wait to the kernel's sums.
"""

from __future__ import annotations

from dataclasses import replace

from arraygauge.inventory.counters import IoCounters
from arraygauge.judge.passive.values import Stall
from arraygauge.values import frozen

HANG_SECONDS = 3.0
TOLD_AFTER_SECONDS = 2.75
"""A hang is told a moment before three seconds are over, so that word of it arrives in time."""
AT_REST_SECONDS = 2.0
"""Between readings of a device that does nothing."""
AT_WORK_SECONDS = 0.5
"""Between readings while requests move: a freeze that starts then is told within 3 s."""
QUIET_SECONDS = 0.25
"""Between readings while requests wait and none completes."""
ENDED_KEPT_SECONDS = 30.0
"""How long a hang that is over is still told with its length."""

_SHORTEST_SECONDS = 0.5
"""Shorter stretches without a completion are a matter of queueing, and are in the mean wait."""
_LEAST_SURE_SECONDS = 1.0
"""Work that began after a rest may have stopped right after the reading before, two seconds ago,
or just now: with so much of it certain it is told, as else it would be told too late."""
_COUNTS_WAITING = 0.8
"""From this share of a wait on in the busy time the kernel is one that counts it meanwhile."""
_TICK_SECONDS = 0.02
"""Two of the kernel's ticks at its slowest, 100 Hz."""


@frozen
class _Quiet:
    """Nothing completed since some moment from ``earliest`` to ``latest``, when ``waited``
    requests were in flight; ``in_flight`` are now. ``busy_since`` is when the device got busy at
    the latest, if the kernel counts busy time while it waits, of which ``counted`` is proof.
    ``rested_seconds`` it had done nothing before."""

    earliest: float
    latest: float
    waited: int
    in_flight: int
    busy_since: float
    rested_seconds: float = 0.0
    counted: bool = False

    def seen_again(self, seconds: float, busy_seconds: float, in_flight: int) -> _Quiet:
        """After a reading ``seconds`` later that counted so much more busy time."""
        again = replace(self, in_flight=in_flight)
        if self.counted or busy_seconds < _COUNTS_WAITING * seconds:
            return again
        earliest = min(self.latest, max(self.earliest, self.busy_since - _TICK_SECONDS))
        return replace(again, earliest=earliest, counted=True)

    def hangs_at(self, moment: float) -> bool:
        """When it may have lasted for three seconds and surely has for nearly as long."""
        surely = _LEAST_SURE_SECONDS if self.counted else TOLD_AFTER_SECONDS - AT_WORK_SECONDS
        possibly = moment - self.earliest >= TOLD_AFTER_SECONDS - 1e-6
        return possibly and moment - self.latest >= surely - 1e-6


@frozen
class HangWatch:
    """One device, reading after reading. ``stall`` is the one going on, or the one that the
    last reading found over; ``ended`` the last hang, kept for a while after its end.

    ``wanted_seconds`` is when the next reading is wanted; ``rest_since`` when the device was
    first found to do nothing, None while it works.
    """

    device: str
    stall: Stall | None = None
    ended: Stall | None = None
    wanted_seconds: float = AT_REST_SECONDS
    moment: float | None = None
    counters: IoCounters | None = None
    quiet: _Quiet | None = None
    rest_since: float | None = None

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
    def hang(self) -> Stall | None:
        """The hang that is worth telling: the one going on, or one just over."""
        if self.stall is not None and self.stall.hang:
            return self.stall
        return self.ended

    def at_rest_for(self, moment: float) -> float:
        """Seconds for which nothing was in flight or completed."""
        return 0.0 if self.rest_since is None else moment - self.rest_since

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
            quiet=self._begun(moment, moment, counters) if counters is not None else None,
        )

    def _going(self, moment: float, counters: IoCounters, ended: Stall | None) -> HangWatch:
        """Requests complete, or there are none."""
        moved = self.counters is None or _completions(counters) != _completions(self.counters)
        at_work = moved or counters.in_flight
        earliest = moment if self.moment is None else self.moment
        return replace(
            self,
            stall=ended,
            ended=ended if ended is not None and ended.hang else self._still_told(moment),
            wanted_seconds=AT_WORK_SECONDS if at_work else AT_REST_SECONDS,
            moment=moment,
            counters=counters,
            quiet=self._begun(earliest, moment, counters),
            rest_since=None if at_work else self.rest_since or moment,
        )

    def _waiting(self, moment: float, counters: IoCounters) -> HangWatch:
        """Requests are in flight and none completed since the last reading."""
        earlier = moment if self.moment is None else self.moment
        if self.quiet is not None:
            busy = self._busy_since_reading(counters)
            quiet = self.quiet.seen_again(moment - earlier, busy, counters.in_flight)
        elif (begun := self._begun(earlier, moment, counters)) is not None:
            waited = max(0.0, moment - begun.busy_since - _TICK_SECONDS)
            rested = self.at_rest_for(moment - waited)
            quiet = replace(
                begun, latest=max(earlier, moment - waited), rested_seconds=max(rested, 0.0)
            )
        else:
            return self._going(moment, counters, None)
        left = quiet.earliest + TOLD_AFTER_SECONDS - moment
        return replace(
            self,
            stall=_stall(self.device, quiet, moment, told=self._told),
            ended=self._still_told(moment),
            wanted_seconds=min(QUIET_SECONDS, max(left, _TICK_SECONDS))
            if left > 0
            else QUIET_SECONDS,
            moment=moment,
            counters=counters,
            quiet=quiet,
            rest_since=None,
        )

    def _begun(self, earliest: float, moment: float, counters: IoCounters) -> _Quiet | None:
        """A stretch that may begin between the last reading and this, if requests are in
        flight."""
        waited = counters.in_flight
        if not waited:
            return None
        return _Quiet(
            earliest=earliest,
            latest=moment,
            waited=waited,
            in_flight=waited,
            busy_since=moment - self._busy_since_reading(counters),
        )

    def _busy_since_reading(self, counters: IoCounters) -> float:
        return counters.since(self.counters).busy_seconds if self.counters is not None else 0.0

    def _still_told(self, moment: float) -> Stall | None:
        if self.ended is None:
            return None
        over_for = moment - self.ended.began_at_seconds - self.ended.seconds
        return self.ended if over_for < ENDED_KEPT_SECONDS else None

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


def _stall(device: str, quiet: _Quiet, moment: float, *, told: bool) -> Stall | None:
    """What is known while it lasts; what was ``told`` to hang goes on to."""
    if moment - quiet.latest < _SHORTEST_SECONDS:
        return None
    began = (quiet.earliest + quiet.latest) / 2
    return Stall(
        device=device,
        began_at_seconds=began,
        seconds=moment - began,
        error_seconds=(quiet.latest - quiet.earliest) / 2,
        in_flight=quiet.in_flight,
        rested_seconds=quiet.rested_seconds,
        hang=told or quiet.hangs_at(moment),
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
