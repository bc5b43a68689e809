"""Runs in the guest: fails members one by one, and times how soon the agent's webhook tells it.

Arguments: the array, then the devices of its members to fail. Prints a JSON line for each: the
milliseconds from right before the write that makes the kernel mark the member faulty until the
message about it had arrived on the loopback address, None where it did not come.
"""

from __future__ import annotations

import json
import queue
import sys
import threading
import time
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

PORT = 9999
PATIENCE_SECONDS = 20.0
REST_SECONDS = 3.0

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
    """Serve, fail, report."""
    array, *devices = sys.argv[1:]
    server = HTTPServer(("127.0.0.1", PORT), Receiver)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    print('{"ready": true}', flush=True)
    sys.stdin.readline()
    for device in devices:
        began = time.monotonic()
        Path(f"/sys/block/{array}/md/dev-{device}/state").write_text("faulty", encoding="ascii")
        print(json.dumps(_told(device, began)), flush=True)
        time.sleep(REST_SECONDS)


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
