"""Runs in the guest: changes arrays and drives, and times how soon the sentinel tells of it.

Arguments: the array that is failed member by member, then a word each: ``fail=DEVICE``,
``delete=DEVICE`` (a SCSI drive), ``cycle=DEVICE,DEVICE`` (a stripe is started and stopped).
Then it rests, and last it listens to what is done from outside until it is killed. Prints
JSON lines. A time begins right before the write that makes the kernel act.
"""

from __future__ import annotations

import json
import os
import select
import sys
import time
from pathlib import Path

from arraygauge.inventory.events import KernelEvent
from arraygauge.probe.stop import StopToken
from arraygauge.service.sentinel import Sentinel
from lab import arrays
from lab.machine import ArraySpec, Drive, Machine, Transport

QUIET_SECONDS = 0.5
REST_SECONDS = 10.0
STRIPE = "md5"


class Watcher:
    """A sentinel, and the guest's files as ``lab.arrays`` wants them."""

    def __init__(self) -> None:
        self.sentinel = Sentinel(StopToken())
        self.sentinel.start()
        self.sentinel.read(60)
        self._poll = select.poll()
        self._poll.register(self.sentinel, select.POLLIN)

    def next_events(self, seconds: float) -> tuple[KernelEvent, ...]:
        """What is told next, at most so much later."""
        return self.sentinel.events() if self._poll.poll(seconds * 1000) else ()

    def settle(self) -> None:
        """Until nothing has been told for a moment."""
        while self.next_events(QUIET_SECONDS):
            pass

    def read(self, path: str) -> str:
        return Path(path).read_text(encoding="ascii")

    def write(self, path: str, text: str) -> None:
        with open(path, "wb", buffering=0) as file:
            file.write(text.encode())

    def timed(self, what: str, path: str, text: str, *subjects: str) -> None:
        """Write, and report when the first event about one of the subjects came."""
        self.settle()
        began = time.monotonic()
        self.write(path, text)
        told: list[KernelEvent] = []
        while not any(event.subject in subjects for event in told):
            if time.monotonic() > began + 10:
                report(what=what, milliseconds=None, told=names(told))
                return
            told += self.next_events(1)
        milliseconds = (time.monotonic() - began) * 1000
        report(what=what, milliseconds=milliseconds, told=names(told))

    def cycle(self, *devices: str) -> None:
        """Make a stripe, start it, stop it."""
        drives = tuple(
            Drive(name=name, transport=Transport.AHCI, bytes_per_second=1) for name in devices
        )
        spec = ArraySpec(name=STRIPE, level="raid0", members=devices)
        arrays.create(
            Starting(self), Machine(drives=drives), spec, {name: name for name in devices}
        )
        self.timed("stop", f"/sys/block/{STRIPE}/md/array_state", "clear", STRIPE, "mdstat")

    def rest(self) -> None:
        """Report what came, and how often the watching process woke, while nothing happened."""
        self.settle()
        woken = wakes()
        told = self.next_events(REST_SECONDS)
        report(what="rest", told=names(told), wakes=wakes() - woken)


class Starting(Watcher):
    """The same files, but the write that starts an array is timed."""

    def __init__(self, watcher: Watcher) -> None:
        self._watcher = watcher

    def write(self, path: str, text: str) -> None:
        if path.endswith("/array_state"):
            self._watcher.timed("start", path, text, STRIPE, "mdstat")
        else:
            self._watcher.write(path, text)


def wakes() -> int:
    """Voluntary switches of the only child of this process (proc(5))."""
    [child] = Path(f"/proc/self/task/{os.getpid()}/children").read_text(encoding="ascii").split()
    lines = Path(f"/proc/{child}/status").read_text(encoding="ascii").splitlines()
    [count] = [line.split()[1] for line in lines if line.startswith("voluntary_ctxt_switches")]
    return int(count)


def names(events: list[KernelEvent] | tuple[KernelEvent, ...]) -> list[str]:
    return [f"{event.kind} {event.subject} {event.action}" for event in events]


def report(**fields: object) -> None:
    print(json.dumps(fields), flush=True)


def main(array: str, *words: str) -> None:
    watcher = Watcher()
    for word in words:
        what, _, operand = word.partition("=")
        if what == "fail":
            path = f"/sys/block/{array}/md/dev-{operand}/state"
            watcher.timed("fail", path, "faulty", array, "mdstat")
        elif what == "delete":
            watcher.timed("delete", f"/sys/block/{operand}/device/delete", "1", operand)
        else:
            watcher.cycle(*operand.split(","))
    watcher.rest()
    while True:
        report(what="outside", told=names(watcher.next_events(60)))


if __name__ == "__main__":
    main(*sys.argv[1:])
