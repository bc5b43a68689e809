"""One place that is read: when its reading ends, and what is counted of it.

How the rate is kept honest. On a slow drive one transfer can take a tenth of the
time there is, so counting "what completed in half a second" would be wrong by as
much. The counted time of a place therefore begins *at* a completion (the first after
the warm-up; its own bytes are not counted) and ends *at* one (the first after the
wanted time; its bytes are). Both ends follow one rule, so completions that come in
clusters bias nothing. Where bytes ended the warm-up or the reading before the time, the
moments to look for are a twentieth short of the last completion there was, which may lie
inside a cluster. After any thread stopped asking the queue only drains, so nothing counts.
"""

from __future__ import annotations

import threading
from array import array
from bisect import bisect_left
from collections.abc import Sequence

LEAST_TRANSFERS = 8
"""A place counts at least so many, if its time can be stretched to fit them."""
PATIENCE = 4
"""Times the wanted seconds; a drive slower than that counts as many as it gave."""
MOST_MARKS = 500
"""How many moments are told of a place that is read together with others."""


class Tally:
    """What is counted of a place: transfers, the time they took, each one's latency.

    No dataclass: importing that takes longer than all else here, at every burst.
    """

    __slots__ = ("latencies", "nanoseconds", "transfers")

    def __init__(self, transfers: int, nanoseconds: int, latencies: Sequence[int]) -> None:
        self.transfers, self.nanoseconds, self.latencies = transfers, nanoseconds, latencies


class Place:
    """The turns that threads take at a place, and when each of them began and ended.

    Times in nanoseconds. ``most`` bounds the turns; the warm-up ends early when
    ``warm_transfers`` are done; reading ends after ``length`` of counted time.
    """

    def __init__(
        self, *, start: int, most: int, warm_transfers: int, warm_up: int, length: int
    ) -> None:
        self.start, self.most, self.length = start, most, length
        self.warm_transfers, self.warm_up = warm_transfers, warm_up
        self.begins, self.ends = array("q", bytes(8 * most)), array("q", bytes(8 * most))
        self.turns = iter(range(most))
        self.gate = self.warm_until = self.opened = self.first_turn = 0
        self.full_until = 0
        self.zero_transfers = 0
        self._lock = threading.Lock()

    def enter(self, now: int, late: int) -> bool:
        """A thread comes to read here, and the first one starts the warm-up; false when it is
        too late to begin a place."""
        with self._lock:
            if not self.gate and now >= late:
                return False
            if not self.gate:
                self.gate = self.warm_until = now + self.warm_up
            return True

    def pass_gate(self, now: int, turn: int) -> bool:
        """To be asked when the warm-up or the time may be over; whether reading ends here."""
        if not self.opened:
            self.opened, self.first_turn = now, turn
            self.gate = now + self.length
            return False
        if now < self.gate:
            return False
        enough = turn - self.first_turn >= LEAST_TRANSFERS
        return enough or now - self.opened >= PATIENCE * self.length

    @property
    def all_taken(self) -> bool:
        """Whether there is no turn left. Not for use while threads still take them."""
        return next(self.turns, None) is None

    def leave(self, now: int, zero_transfers: int) -> None:
        """A thread asks for no more."""
        self.count_zeros(zero_transfers)
        with self._lock:
            self.full_until = min(self.full_until or now, now)

    def count_zeros(self, zero_transfers: int) -> None:
        """So many of a thread's transfers held zeros."""
        with self._lock:
            self.zero_transfers += zero_transfers

    def progress(self) -> list[tuple[int, int]]:
        """When so many transfers had come while all threads asked for more: moments of the
        clock that all processes share (clock_gettime(2), CLOCK_MONOTONIC), evenly thinned."""
        done = sorted(end for end in self.ends[: self._taken()] if 0 < end <= self.full_until)
        return [(done[at], at + 1) for at in range(0, len(done), len(done) // MOST_MARKS + 1)]

    def _taken(self) -> int:
        """At least how many turns were taken, once all threads have left. There is room for as
        many as could ever be, and whoever waits for an answer must not wait for all of that to
        be gone through."""
        return next(self.turns, self.most)

    def tally(self) -> Tally:
        """What counts, once all threads have left."""
        taken = self._taken()
        took = zip(self.ends[:taken], self.begins[:taken], strict=True)
        return tally(
            sorted((end, end - begin) for end, begin in took if end),
            warm_until=self.warm_until,
            warm_transfers=self.warm_transfers,
            length=self.length,
            full_until=self.full_until,
        )


def tally(
    done: Sequence[tuple[int, int]],
    *,
    warm_until: int,
    warm_transfers: int,
    length: int,
    full_until: int,
) -> Tally:
    """Count completions, given as (when, latency) in order of time; see the top of this file."""
    full = [each for each in done if each[0] <= full_until]
    times = [end for end, _ in full]
    warm = warm_until
    if warm_transfers < len(times):
        warm = min(warm, times[0] + _short_of(times[warm_transfers] - times[0]))
    first = bisect_left(times, warm)
    if first >= len(times) - 1:
        return Tally(0, 0, ())
    closing = times[first] + min(length, _short_of(times[-1] - times[first]))
    last = min(max(bisect_left(times, closing), first + LEAST_TRANSFERS), len(times) - 1)
    counted = [took for _, took in full[first + 1 : last + 1]]
    return Tally(last - first, times[last] - times[first], counted)


def _short_of(nanoseconds: int) -> int:
    """A moment between two clusters, most likely, where the given one may lie inside one."""
    return nanoseconds * 19 // 20


def quantiles(ordered: Sequence[int]) -> list[int]:
    """Median, nine tenths, 99 hundredths and the longest of sorted latencies."""
    if not ordered:
        return []
    last = len(ordered) - 1
    return [ordered[min(int(share * len(ordered)), last)] for share in (0.5, 0.9, 0.99, 1.0)]
