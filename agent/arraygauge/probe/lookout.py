"""Noticing that others work, by counters that cost nothing, before and during a burst.

What the counters show beyond the probe's own bytes is others' work. The kernel counts a read
when it begins, when it ends, or piece by piece (that differs between drivers and releases), so
the probe's own reads stand somewhere between what it asked for and what came. What exceeds all
that was *asked for* is others' for certain. To see less than that, it is learned while a burst
begins, alone with the device, how much of what is in flight the counters show; what they show
beyond that, at every one of several looks, is others' too.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Mapping
from types import TracebackType

from arraygauge.inventory.counters import CounterReader, IoCounters
from arraygauge.inventory.sync_action import read_sync_action
from arraygauge.inventory.tree import Tree
from arraygauge.probe.guards import AT_REST
from arraygauge.probe.process import OwnBytes
from arraygauge.probe.stop import StopToken
from arraygauge.probe.watch import Watch
from arraygauge.units import KIB, MIB

OTHERS_BYTES = 32 * KIB
"""Less than this, counted from a burst's beginning, is the housekeeping of a filesystem."""
NEIGHBOUR_BYTES = 2 * MIB
"""The same for a drive that only shares a link with the one that is read."""
LOOK_SECONDS = 0.004
LOOKS_TO_BE_SURE = 12
"""A busy processor makes the probe itself notice late what came, but not at so many looks."""
ALONE_TURNS, ALONE_LOOKS = 3, 60
"""The probe is taken to be alone until the bytes in flight have been exchanged so often, and so
many looks were had (about 0.3 s): what a cache answers at first tells nothing of the rest."""
MARGIN_PART = 0.25
"""What a busy processor may make the probe notice late: that much more of what is in flight."""
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
        now = self._reader.read()
        asked, came = own()
        return (
            self._others_read(now, asked, came)
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

    def _others_read(self, now: Counters, asked: int, came: int) -> str | None:
        for tier, seen in self._tiers.items():
            counted = sum(self._grown(now, name).read_bytes for name in tier)
            if seen.beyond(counted, asked, came) > OTHERS_BYTES:
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
            return _Grown(0, 0)
        return _Grown(
            max(after.read_bytes - before.read_bytes, 0),
            max(after.written_bytes - before.written_bytes, 0),
        )


class _Tier:
    """What devices that carry the probe's bytes once have counted, look by look.

    A look's *part* is how much of what is in flight the counters already show: all of it
    where reads are counted as they begin, little of it where they are counted as they end.
    """

    def __init__(self) -> None:
        self._parts: deque[float] = deque(maxlen=LOOKS_TO_BE_SURE)
        self._full_looks = 0
        self._own_part: float | None = None
        self._most_in_flight = 0

    def beyond(self, counted: int, asked: int, came: int) -> int:
        """Bytes that others have read at least; as likely as certain."""
        certain, in_flight = counted - asked, asked - came
        self._most_in_flight = max(self._most_in_flight, in_flight)
        if 2 * in_flight < self._most_in_flight or not in_flight:
            return certain  # between two places: too little of the probe's own to mistake
        self._full_looks += 1
        self._parts.append((counted - came) / in_flight)
        if len(self._parts) < LOOKS_TO_BE_SURE:
            return certain
        lasting = min(self._parts)
        if self._full_looks < ALONE_LOOKS or came < ALONE_TURNS * self._most_in_flight:
            self._own_part = max(self._own_part or 0.0, lasting)
        if self._own_part is None:
            return certain
        return max(certain, round((lasting - self._own_part - MARGIN_PART) * in_flight))


class _Grown:
    """Bytes read and written meanwhile."""

    __slots__ = ("read_bytes", "written_bytes")

    def __init__(self, read_bytes: int, written_bytes: int) -> None:
        self.read_bytes, self.written_bytes = read_bytes, written_bytes


def _named(tier: tuple[str, ...]) -> str:
    return tier[0] if len(tier) == 1 else f"one of {', '.join(tier)}"


def _at_rest() -> tuple[int, int]:
    return 0, 0
