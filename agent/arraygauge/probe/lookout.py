"""Noticing that others work, by counters that cost nothing, before and during a burst.

What the counters show beyond the probe's own bytes is others' work. The kernel counts a read
when it begins, when it ends, or piece by piece (that differs between drivers and releases), but
it also tells how many requests are in flight, and a read is always one or the other: what is
counted and what is in flight make up what the probe asked for, however late its threads notice
that something came. What exceeds that is others', from their first request on.

One reading of a device's counters does not show both of one moment: the kernel adds up what is in
flight, then what it counted (part_stat_show in block/genhd.c), and what ends in between it tells
twice, which on a busy or emulated processor is often a whole queue. So what is in flight is asked
for once more, after what was counted: nothing is told twice, and what ends in between not at all.

How much a request in flight is worth, and whether it is counted already, is learned while a burst
begins, alone with the device.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from math import gcd
from statistics import median
from types import TracebackType

from arraygauge.inventory.counters import CounterReader, IoCounters
from arraygauge.inventory.sync_action import read_sync_action
from arraygauge.inventory.tree import Tree
from arraygauge.probe.guards import AT_REST
from arraygauge.probe.process import OwnBytes
from arraygauge.probe.stop import StopToken
from arraygauge.probe.watch import Watch
from arraygauge.units import KIB, MIB
from arraygauge.values import frozen

OTHERS_BYTES = 32 * KIB
"""Less than this, counted from a burst's beginning, is the housekeeping of a filesystem."""
NEIGHBOUR_BYTES = 2 * MIB
"""The same for a drive that only shares a link with the one that is read."""
LOOK_SECONDS = 0.004
LOOKS_TO_BE_SURE = 3
"""Where requests are of several sizes, what one is worth is a mean: a look may meet a few that
are smaller, but not so many. Where all are alike, one look proves it."""
ALONE_LOOKS = 10
"""The probe is taken to be alone until all that is in flight was exchanged once, and so many
looks were had, a twenty-fifth of a second at least."""
UNEVEN_LOOKS = 16
"""The same where transfers are made up of requests of several sizes."""
EVEN_PARTS = 0.01
"""How far from a whole number of requests a transfer may seem to be that is one."""
SYNC_EVERY = 8
"""Looks between two readings of an array's sync action."""
QUIET_LOOK_SECONDS = 0.02


Counters = Mapping[str, IoCounters | None]


class CounterLookout:
    """Watches for one probing; use it as a context manager, from one thread.

    ``look`` is for the burst's process, ``quiet_for`` for the time between bursts.
    ``while_syncing`` leaves synchronising arrays out of the matter.
    """

    interval_seconds = LOOK_SECONDS

    def __init__(
        self, watch: Watch, *, while_syncing: bool = False, tree: Tree | None = None
    ) -> None:
        self._watch = watch
        self._while_syncing = while_syncing
        self._tree = tree
        self._reader = CounterReader(watch.names, tree)
        self._base: Counters = {}
        self._tiers: dict[tuple[str, ...], _Tier] = {}
        self._looks = 0

    def __enter__(self) -> CounterLookout:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._reader.close()

    def begin(self) -> None:
        """Count from here."""
        self._base = self._reader.read()
        self._looks = 0
        self._tiers = {tier: _Tier() for tier in self._watch.carriers}

    def look(self, own: OwnBytes) -> str | None:
        """Who works besides the probe, whose own bytes are asked for last; None: nobody."""
        self._looks += 1
        _, came_before = own()
        now = self._reader.read()
        return (
            self._others_read(now, own, came_before)
            or self._others_write(now)
            or self._others_elsewhere(now)
            or self._synchronising(every=SYNC_EVERY)
        )

    def quiet_for(self, seconds: float, stop: StopToken) -> str | None:
        """Watch for so long, the probe itself at rest; who worked, or None. Ends early when
        somebody does, and when told to stop."""
        self.begin()
        until = time.monotonic() + seconds
        while (left := until - time.monotonic()) > 0:
            if stop.wait(min(left, QUIET_LOOK_SECONDS)):
                return None
            if (who := self.look(_at_rest)) is not None:
                return who
        return self._synchronising(every=1)

    def _others_read(self, now: Counters, own: OwnBytes, came_before: int) -> str | None:
        for tier, seen in self._tiers.items():
            grown = [self._grown(now, name) for name in tier]
            in_flight = self._reader.in_flight(tier)
            asked, came = own()
            look = _Look(
                came_before=came_before,
                in_flight_before=sum(_in_flight(now, name) for name in tier),
                counted=sum(each.read_bytes for each in grown),
                ended=sum(each.reads for each in grown),
                in_flight=in_flight,
                asked=asked,
                came=came,
            )
            if seen.others(look):
                return f"others read from {_named(tier)}"
        return None

    def _others_write(self, now: Counters) -> str | None:
        for tier in (*self._watch.carriers, self._watch.below):
            if sum(self._grown(now, name).written_bytes for name in tier) > OTHERS_BYTES:
                return f"others write to {_named(tier)}"
        return None

    def _others_elsewhere(self, now: Counters) -> str | None:
        for names, bound in (
            (self._watch.others, OTHERS_BYTES),
            (self._watch.neighbours, NEIGHBOUR_BYTES),
        ):
            for name in names:
                grown = self._grown(now, name)
                if grown.read_bytes + grown.written_bytes > bound:
                    return f"others use {name}"
        return None

    def _synchronising(self, every: int) -> str | None:
        if self._while_syncing or self._looks % every:
            return None
        for name in self._watch.arrays:
            action = read_sync_action(name, self._tree)
            if action not in AT_REST:
                return f"{name} is busy with a {action}"
        return None

    def _grown(self, now: Counters, name: str) -> _Grown:
        """Since ``begin``; nothing for a device that is gone or whose counters began anew."""
        before, after = self._base.get(name), now.get(name)
        if before is None or after is None:
            return _Grown(0, 0, 0)
        return _Grown(
            max(after.reads - before.reads, 0),
            max(after.read_bytes - before.read_bytes, 0),
            max(after.written_bytes - before.written_bytes, 0),
        )


@frozen
class _Look:
    """What a tier shows, in the order in which it was asked for: own bytes that had come,
    requests that the devices held, bytes and reads that they had counted, requests that they held
    by then; and the probe's own bytes, last."""

    came_before: int
    in_flight_before: int
    counted: int
    ended: int
    in_flight: int
    asked: int
    came: int

    def surplus(self, request_bytes: float) -> float:
        """Bytes counted or in flight beyond what was asked for. Where reads are counted as they
        end, others' alone exceed it."""
        return self.counted + self.in_flight * request_bytes - self.asked

    def uncounted(self, request_bytes: float) -> float:
        """Bytes that came or were in flight and are not counted: more than none only where reads
        are counted as they end."""
        return self.came_before + self.in_flight_before * request_bytes - self.counted


class _Tier:
    """What devices that carry the probe's bytes once show, look by look."""

    def __init__(self) -> None:
        self._looks: list[_Look] = []
        self._most_in_flight = 0
        self._request_bytes = 0.0
        self._bound: float | None = None
        self._sure = LOOKS_TO_BE_SURE

    def others(self, look: _Look) -> bool:
        """Whether others have read, or are reading."""
        if look.counted - look.asked > OTHERS_BYTES:
            return True
        if look.asked:
            self._looks.append(look)
        if self._bound is None:
            self._become_acquainted(look)
            return False
        del self._looks[: -self._sure]
        return self._lasting(self._looks) > self._bound

    def _become_acquainted(self, look: _Look) -> None:
        """Alone with the device: what a request is worth, and what surplus is usual."""
        self._most_in_flight = max(self._most_in_flight, look.asked - look.came)
        exchanged = look.came >= self._most_in_flight
        if len(self._looks) < ALONE_LOOKS or not exchanged or not look.ended:
            return
        self._request_bytes = look.counted / look.ended
        if not self._counts_at_end():
            self._request_bytes, self._bound = 0.0, OTHERS_BYTES  # what is in flight is counted
            return
        parts = gcd(*(each.asked for each in self._looks)) / self._request_bytes
        if abs(parts - round(parts)) < EVEN_PARTS:
            self._sure = 1
            self._bound = max(*self._usual(), 0) + OTHERS_BYTES
        elif len(self._looks) >= UNEVEN_LOOKS:
            most = max(*self._usual(), 0)
            self._bound = most + max(most - median(self._usual()), self._request_bytes)

    def _usual(self) -> list[float]:
        """The surplus that lasted, at each look since the first that can tell."""
        return [
            self._lasting(self._looks[end - self._sure : end])
            for end in range(self._sure, len(self._looks) + 1)
        ]

    def _counts_at_end(self) -> bool:
        """Whether reads are counted as they end. A kernel that counts them as they begin shows
        all that is in flight as counted too, at every look; one that does not, at none."""
        uncounted = max(each.uncounted(self._request_bytes) for each in self._looks)
        surplus = max(each.surplus(self._request_bytes) for each in self._looks)
        return uncounted > max(self._request_bytes / 2, surplus)

    def _lasting(self, looks: Sequence[_Look]) -> float:
        return min(look.surplus(self._request_bytes) for look in looks)


class _Grown:
    """Reads, and bytes read and written, meanwhile."""

    __slots__ = ("read_bytes", "reads", "written_bytes")

    def __init__(self, reads: int, read_bytes: int, written_bytes: int) -> None:
        self.reads, self.read_bytes, self.written_bytes = reads, read_bytes, written_bytes


def _in_flight(now: Counters, name: str) -> int:
    counters = now.get(name)
    return counters.in_flight if counters is not None else 0


def _named(tier: tuple[str, ...]) -> str:
    return tier[0] if len(tier) == 1 else f"one of {', '.join(tier)}"


def _at_rest() -> tuple[int, int]:
    return 0, 0
