"""Runs in the guest: times how soon the agent's webhook tells of each member that is lost.

Arguments: ``fail ARRAY DEVICE...`` has the kernel mark these members faulty one by one;
``unplugged DEVICE...`` waits until these drives are unplugged from outside, in that order. Both
begin when a line comes on standard input. Prints a JSON line for each: the milliseconds until
the message about it had arrived on the loopback address, None where it did not come. They count
from right before the write that makes the kernel mark a member, and from the last moment at
which an unplugged drive still had a size, which the kernel takes from it before it tells
anybody.
"""

from __future__ import annotations

import json
import queue
import sys
import threading
import time
from collections.abc import Callable
from functools import partial
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

PORT = 9999
PATIENCE_SECONDS = 20.0
REST_SECONDS = 3.0
LOOK_SECONDS = 0.002

Arrival = tuple[float, dict[str, object]]


class Receiver(BaseHTTPRequestHandler):
    """Notes when each message arrived."""

    arrivals: queue.Queue[Arrival] = queue.Queue()

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.arrivals.put((time.monotonic(), json.loads(body)))
        self.send_response(204)
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Only results are printed."""


def main() -> None:
    """Serve, lose, report."""
    way, *words = sys.argv[1:]
    lose: Callable[[str], float] = _unplugged
    if way == "fail":
        array, *words = words
        lose = partial(_failed, array)
    server = HTTPServer(("127.0.0.1", PORT), Receiver)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    print('{"ready": true}', flush=True)
    sys.stdin.readline()
    for device in words:
        print(json.dumps(_told(device, lose(device))), flush=True)


def _failed(array: str, device: str) -> float:
    """Marks the member, after a rest; the moment right before."""
    time.sleep(REST_SECONDS)
    began = time.monotonic()
    Path(f"/sys/block/{array}/md/dev-{device}/state").write_text("faulty", encoding="ascii")
    return began


def _unplugged(device: str) -> float:
    """Waits for it; the last moment before. del_gendisk in block/genhd.c: the size becomes 0,
    later udev is told."""
    path = Path(f"/sys/class/block/{device}/size")
    seen, there = time.monotonic(), True
    while there:
        looked = time.monotonic()
        try:
            there = path.read_text(encoding="ascii").strip() != "0"
        except OSError:
            there = False
        seen = looked if there else seen
        time.sleep(LOOK_SECONDS if there else 0)
    return seen


def _told(device: str, began: float) -> dict[str, object]:
    """The first message that names the device as the cause."""
    while (left := began + PATIENCE_SECONDS - time.monotonic()) > 0:
        try:
            at, document = Receiver.arrivals.get(timeout=left)
        except queue.Empty:
            break
        if device in json.dumps(document):
            return {"device": device, "milliseconds": 1000 * (at - began), "told": document}
    return {"device": device, "milliseconds": None, "told": None}


if __name__ == "__main__":
    main()
