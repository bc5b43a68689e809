"""Noticing others' work while the probe itself writes.

Own writes show on the device its filesystem lies on, each byte once; on an array's members
they show several times over, with reads where parity is made anew, so members tell nothing.
"""

from __future__ import annotations

from arraygauge.probe.lookout import OTHERS_BYTES, SYNC_EVERY, CounterLookout, Counters
from arraygauge.probe.process import OwnBytes
from arraygauge.units import MIB

HOUSEKEEPING_BYTES, HOUSEKEEPING_PART = MIB, 64
"""What a filesystem writes of its own for the probe's sake, journal and maps: this much, and
this part of what the probe wrote (common practice, no published source)."""


class WriteLookout(CounterLookout):
    """Watches a burst of own writes; to wait for quiet before it, ``CounterLookout`` is stricter.

    Reads of others are noticed from their first on, the probe making none there. Others' writes
    are what was written beyond all that the probe has begun: so a writer is noticed once it
    has written as much as the probe has in flight, and the housekeeping's share.
    """

    def look(self, own: OwnBytes) -> str | None:
        """Who works besides the probe, whose own bytes are asked for last; None: nobody."""
        self._looks += 1
        now = self._reader.read()
        begun, _ = own()
        return (
            self._others_here(now, begun)
            or self._others_elsewhere(now)
            or self._synchronising(every=SYNC_EVERY)
        )

    def _others_here(self, now: Counters, begun: int) -> str | None:
        for name in self._watch.carriers[0]:
            grown = self._grown(now, name)
            if grown.read_bytes > OTHERS_BYTES:
                return f"others read from {name}"
            allowed = begun + begun // HOUSEKEEPING_PART + HOUSEKEEPING_BYTES
            if grown.written_bytes > allowed:
                return f"others write to {name}"
        return None
