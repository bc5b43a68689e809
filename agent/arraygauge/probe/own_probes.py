"""Which devices the agent's own probes are at work on, for whoever else watches the counters."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager


class OwnProbes:
    """Safe from several threads; ``take`` is for one that asks again and again."""

    def __init__(self) -> None:
        self._active: Counter[str] = Counter()
        self._ended: set[str] = set()
        self._lock = threading.Lock()

    @contextmanager
    def on(self, device: str) -> Iterator[None]:
        """While a probe of the device, by its kernel name, is at work."""
        with self._lock:
            self._active[device] += 1
        try:
            yield
        finally:
            with self._lock:
                self._ended.add(device)
                self._active -= Counter((device,))

    def take(self) -> frozenset[str]:
        """The devices on which a probe was at work at any moment since the last call."""
        with self._lock:
            found = frozenset(self._ended.union(self._active))
            self._ended.clear()
            return found
