"""A load on one block device, and its steady rate: runs in the guest, independent of the agent.

Arguments: device, 'read' or 'write', 'sequential' or 'random', transfer bytes, transfers in
flight, streams, seconds. Prints bytes per second. Writes go raw to the device: for the
lab's throwaway drives only.

The rate is counted from the first completion after a warm-up to the last one before the
end. A sequential stream's transfers are started strictly in order, one lock around the
choice of the place and another thread's chance to overtake kept as small as Python allows.
"""

from __future__ import annotations

import mmap
import os
import sys
import threading
import time

WARM_UP_SECONDS = 0.7
"""Beyond the 0.1 s worth of bytes that a throttle lets pass at once."""


class Load:
    """Places to go, and the completions counted."""

    def __init__(self, random: bool, size: int, transfer: int, streams: int, begun: float) -> None:
        self.lock = threading.Lock()
        self.random, self.transfer, self.streams = random, transfer, streams
        self.places = size // transfer
        self.next = [self.places // streams * index for index in range(streams)]
        self.seed = 12345
        self.counted_from = begun + WARM_UP_SECONDS
        self.first = self.last = 0.0
        self.moved = 0

    def place(self, stream: int) -> int:
        """Needs the lock."""
        if self.random:
            self.seed = (self.seed * 6364136223846793005 + 1442695040888963407) % 2**64
            return (self.seed >> 33) % self.places * self.transfer
        index = self.next[stream]
        self.next[stream] = (index + 1) % self.places
        return index * self.transfer

    def complete(self, now: float) -> None:
        """Needs the lock."""
        if now < self.counted_from:
            return
        if self.first:
            self.moved += self.transfer
            self.last = now
        else:
            self.first = now


def work(load: Load, fd: int, writing: bool, stream: int, until: float) -> None:
    memory = mmap.mmap(-1, load.transfer)
    memory.write(os.urandom(4096) * (load.transfer // 4096))
    buffers, move = [memory], os.pwritev if writing else os.preadv
    with load.lock:
        offset = load.place(stream)
    while True:
        move(fd, buffers, offset)
        now = time.monotonic()
        if now >= until:
            return
        with load.lock:
            load.complete(now)
            offset = load.place(stream)


def main(arguments: list[str]) -> None:
    device, direction, access, *numbers = arguments
    transfer, depth, streams = map(int, numbers[:3])
    writing = direction == "write"
    fd = os.open(device, (os.O_RDWR if writing else os.O_RDONLY) | os.O_DIRECT)
    begun = time.monotonic()
    load = Load(access == "random", os.lseek(fd, 0, os.SEEK_END), transfer, streams, begun)
    until = begun + WARM_UP_SECONDS + float(numbers[3])
    threads = [
        threading.Thread(target=work, args=(load, fd, writing, index % streams, until))
        for index in range(depth)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    print(load.moved / (load.last - load.first))


if __name__ == "__main__":
    main(sys.argv[1:])
