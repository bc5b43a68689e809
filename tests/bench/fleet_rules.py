"""How long the shipped rules take on a Prometheus that scrapes 500 agents.

Run as ``cd tests && python -m bench.fleet_rules``; it takes two minutes. The agents are invented:
one server gives each the text of a machine of 8 drives in 2 arrays. What is printed are the
longest evaluations Prometheus itself reports.
"""

from __future__ import annotations

import json
import tempfile
import threading
import time
import urllib.request
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from arraygauge.tell.metrics import Exposition
from fleet.large_machine import large_collector
from fleet.programs import prometheus
from fleet.shipped import FOLDER

AGENTS = 500
SECONDS = 120.0


class Agents(BaseHTTPRequestHandler):
    """Any path is one agent's."""

    body = b""

    def do_GET(self) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "text/plain; version=0.0.4")
        self.send_header("Content-Length", str(len(self.body)))
        self.end_headers()
        self.wfile.write(self.body)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002
        """Nobody reads it."""


def main() -> None:
    """Scrape for a while and print what the rules cost."""
    Agents.body = Exposition(large_collector(2)).body("text/plain", zipped=False)[1]
    with ThreadingHTTPServer(("127.0.0.1", 0), Agents) as server:
        server.daemon_threads = True
        threading.Thread(target=server.serve_forever, daemon=True).start()
        with tempfile.TemporaryDirectory() as folder:
            text = configuration(server.server_port)
            with prometheus(Path(folder), text) as address:
                time.sleep(SECONDS)
                report(address)
        server.shutdown()


def configuration(port: int) -> str:
    targets = [
        {
            "targets": [f"127.0.0.1:{port}"],
            "labels": {"__metrics_path__": f"/{number}", "instance": f"edit{number}:9847"},
        }
        for number in range(AGENTS)
    ]
    whole = {
        "global": {"scrape_interval": "15s", "evaluation_interval": "15s"},
        "rule_files": [str(FOLDER / "rules/*.yml")],
        "scrape_configs": [{"job_name": "arraygauge", "static_configs": targets}],
    }
    return json.dumps(whole)


def report(address: str) -> None:
    series = asked(address, "query?query=count({job=%22arraygauge%22})")["result"][0]["value"][1]
    print(f"{AGENTS} agents, {series} series")
    for group in asked(address, "rules")["groups"]:
        print(f"{group['name']}: {1e3 * group['evaluationTime']:.1f} ms every 15 s")
        for rule in sorted(group["rules"], key=lambda each: -each["evaluationTime"])[:5]:
            print(f"  {rule['name']}: {1e3 * rule['evaluationTime']:.1f} ms, {rule['health']}")


def asked(address: str, path: str) -> dict[str, Any]:
    with urllib.request.urlopen(f"http://{address}/api/v1/{path}", timeout=10) as answer:
        found: dict[str, Any] = json.load(answer)["data"]
    return found


if __name__ == "__main__":
    main()
