"""Reads block devices side by side, O_DIRECT, and prints each one's rate as JSON.

Runs in the guest for the lab's own tests; it is independent of the agent's probe.
Arguments: seconds, requests in flight per device, then the devices.
"""

from __future__ import annotations

import json
import mmap
import os
import sys
import threading
import time

REQUEST_BYTES = 1024 * 1024


class Stream:
    """One sequential reader; ``depth`` of them interleave over a device."""

    def __init__(self, device: str, index: int, depth: int, seconds: float) -> None:
        self.device = device
        self.bytes_read = 0
        self.seconds = 0.0
        self._place = (index, depth)
        self._limit_seconds = seconds
        self.thread = threading.Thread(target=self._read)

    def _read(self) -> None:
        index, depth = self._place
        fd = os.open(self.device, os.O_RDONLY | os.O_DIRECT)
        requests = os.lseek(fd, 0, os.SEEK_END) // REQUEST_BYTES
        memory = mmap.mmap(-1, REQUEST_BYTES)
        started = time.monotonic()
        while self.seconds < self._limit_seconds:
            self.bytes_read += os.preadv(fd, [memory], index % requests * REQUEST_BYTES)
            self.seconds = time.monotonic() - started
            index += depth
        os.close(fd)


def main(seconds: float, depth: int, devices: list[str]) -> None:
    """Prints bytes per second by device."""
    streams = [
        Stream(device, index, depth, seconds) for device in devices for index in range(depth)
    ]
    print("reading", file=sys.stderr, flush=True)
    for stream in streams:
        stream.thread.start()
    for stream in streams:
        stream.thread.join()
    rates = {}
    for device in devices:
        parts = [stream for stream in streams if stream.device == device]
        total = sum(part.bytes_read for part in parts)
        rates[device] = total / max(part.seconds for part in parts)
    print(json.dumps(rates))


if __name__ == "__main__":
    main(float(sys.argv[1]), int(sys.argv[2]), sys.argv[3:])
