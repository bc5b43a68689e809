"""Runs in the guest: prints each message of the agent's webhook, with when it arrived.

One JSON object a line: ``at`` is the guest's CLOCK_MONOTONIC, ``message`` what was sent to
http://127.0.0.1:9999/.
"""

from __future__ import annotations

import json
import time
from http.server import BaseHTTPRequestHandler, HTTPServer

PORT = 9999


class Receiver(BaseHTTPRequestHandler):
    """Prints while it answers."""

    def do_POST(self) -> None:
        at = time.monotonic()
        message = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        print(json.dumps({"at": at, "message": message}), flush=True)
        self.send_response(204)
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Only messages are printed."""


if __name__ == "__main__":
    server = HTTPServer(("127.0.0.1", PORT), Receiver)
    print('{"ready": true}', flush=True)
    server.serve_forever()
