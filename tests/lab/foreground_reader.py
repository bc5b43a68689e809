"""Somebody's work: reads a device or file and says how that went. Runs in the guest.

It is a program by itself and independent of the agent. Arguments: --path, --transfer-bytes,
--depth (readers at a time), --rate (bytes per second; without it as fast as it can),
--seconds, --random (places, not in sequence). It writes "ready" on standard error, begins at
SIGUSR1 and in the end prints one JSON object:

=====================  ===================================================================
failure                why it ended early, else null: an error, or a read past the end, which
                       is how the kernel answers for some drives that were unplugged
requests, bytes        that were completed
bytes_per_second       after the first completion, until the last
latency_seconds        p50, p99, p999 and greatest, from request to completion
lag_seconds            the same from when the request was due, which --rate decides
started, first, last   CLOCK_MONOTONIC: the first request, first and last completion
bytes_per_10_ms        completed in each 10 ms since ``started``
=====================  ===================================================================

CLOCK_MONOTONIC is the same for all processes of the guest. With fewer than two
completions only ``failure`` is told.
"""

from __future__ import annotations

import argparse
import json
import mmap
import os
import random
import signal
import sys
import threading
import time
from typing import NamedTuple

SLOT_SECONDS = 0.01


class Completion(NamedTuple):
    """One request: when it was due, made and answered."""

    due: float
    asked: float
    answered: float
    size: int


class Reader:
    """Requests in turn, shared by ``depth`` threads."""

    def __init__(self, options: argparse.Namespace) -> None:
        self.options = options
        self.fd = os.open(options.path, os.O_RDONLY | os.O_DIRECT)
        self.places = os.lseek(self.fd, 0, os.SEEK_END) // options.transfer_bytes
        self.interval = options.transfer_bytes / options.rate if options.rate else 0.0
        self.completions: list[Completion] = []
        self.failure: str | None = None
        self._lock = threading.Lock()
        self._next = 0
        self._chance = random.Random(1)
        self._memories = [mmap.mmap(-1, options.transfer_bytes) for _ in range(options.depth)]

    def run(self) -> None:
        """Reads until the time is over."""
        begun = time.monotonic()
        threads = [threading.Thread(target=self._work, args=(m, begun)) for m in self._memories]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

    def _work(self, memory: mmap.mmap, begun: float) -> None:
        until = begun + self.options.seconds
        while self.failure is None:
            place, due = self._turn(begun)
            if due >= until:
                return
            if (early := due - time.monotonic()) > 0:
                time.sleep(early)
            asked = time.monotonic()
            try:
                size = os.preadv(self.fd, [memory], place * self.options.transfer_bytes)
            except OSError as error:
                self.failure = str(error)
                return
            if size < self.options.transfer_bytes:
                self.failure = f"{size} bytes instead of {self.options.transfer_bytes}"
                return
            self.completions.append(Completion(due, asked, time.monotonic(), size))

    def _turn(self, begun: float) -> tuple[int, float]:
        """The place of the next request, and when it is due."""
        with self._lock:
            index = self._next
            self._next += 1
            place = self._chance.randrange(self.places) if self.options.random else index
        due = begun + index * self.interval if self.interval else time.monotonic()
        return place % self.places, due


def quantiles(values: list[float]) -> dict[str, float]:
    """Nearest rank: the least value that so large a share does not exceed."""
    ordered = sorted(values)
    shares = {"p50": 0.5, "p99": 0.99, "p999": 0.999, "greatest": 1.0}
    ranks = {name: -(-len(ordered) * share // 1) for name, share in shares.items()}
    return {name: ordered[int(rank) - 1] for name, rank in ranks.items()}


def summary(completions: list[Completion]) -> dict[str, object]:
    """What there is to say of at least two completions."""
    started = min(done.asked for done in completions)
    answered = sorted(done.answered for done in completions)
    total, first, last = sum(done.size for done in completions), answered[0], answered[-1]
    slots = [0] * (int((last - started) / SLOT_SECONDS) + 1)
    for done in completions:
        slots[int((done.answered - started) / SLOT_SECONDS)] += done.size
    return {
        "requests": len(completions),
        "bytes": total,
        "bytes_per_second": (total - completions[0].size) / (last - first),
        "latency_seconds": quantiles([done.answered - done.asked for done in completions]),
        "lag_seconds": quantiles([done.answered - done.due for done in completions]),
        "started": started,
        "first": first,
        "last": last,
        "bytes_per_10_ms": slots,
    }


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--path", required=True)
    parser.add_argument("--transfer-bytes", type=int, default=1024 * 1024)
    parser.add_argument("--depth", type=int, default=1)
    parser.add_argument("--rate", type=float)
    parser.add_argument("--seconds", type=float, default=1)
    parser.add_argument("--random", action="store_true")
    options = parser.parse_args()
    signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGUSR1])
    reader = Reader(options)
    print("ready", file=sys.stderr, flush=True)
    signal.sigwait([signal.SIGUSR1])
    reader.run()
    told = summary(reader.completions) if len(reader.completions) > 1 else {}
    print(json.dumps({"failure": reader.failure, **told}))


if __name__ == "__main__":
    main()
