"""`arraygauge run` as a process on this machine, with faults made to order."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

STRICT = {"Accept": "application/openmetrics-text; version=1.0.0"}
FRUGAL = "[run]\nlisten_port = 0\n[probe]\nown_file_bytes = '32 MiB'\nmax_bytes = '64 MiB'\n"
"""A configuration for passes of a few seconds."""
QUIET = "[run]\nlisten_port = 0\n[budget]\nquiet_hours = ['00:00-12:00', '12:00-00:00']\n"
"""A configuration for passes that read nothing."""
_MAIN = "import sys\nfrom arraygauge.cli import main\n{fault}\nmain(sys.argv[1:])\n"


class Agent:
    """A running agent; its first line says where it serves. ``fault`` is Python that is run
    before it, to break a part of it."""

    def __init__(
        self, config: Path, environment: Mapping[str, str], fault: str = "", log: Path | None = None
    ) -> None:
        self.config = config
        errors = log.open("w") if log is not None else subprocess.PIPE
        self.process = subprocess.Popen(
            [sys.executable, "-c", _MAIN.format(fault=fault), "--config", str(config), "run"],
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
            env={"PATH": "/usr/bin", **environment},
        )
        if not isinstance(errors, int):
            errors.close()
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        found = re.search(r"http://([0-9.]+:[0-9]+)/metrics", line)
        assert found, line + (self.process.stderr.read() if self.process.stderr else "")
        self.address = found[1]

    def scrape(self, path: str = "/metrics", address: str | None = None) -> str:
        request = urllib.request.Request(f"http://{address or self.address}{path}", headers=STRICT)
        with urllib.request.urlopen(request, timeout=10) as answer:
            return str(answer.read().decode())

    def reload(self, configuration: str) -> None:
        self.config.write_text(configuration)
        self.process.send_signal(signal.SIGHUP)

    def terminate(self) -> float:
        """Seconds from SIGTERM to the end."""
        began = time.monotonic()
        self.process.send_signal(signal.SIGTERM)
        self.process.communicate(timeout=10)
        return time.monotonic() - began

    def kill(self) -> None:
        self.process.kill()
        self.process.communicate()


@contextmanager
def running(
    folder: Path,
    *,
    configuration: str = QUIET,
    fault: str = "",
    environment: Mapping[str, str] | None = None,
) -> Iterator[Agent]:
    """An agent whose state lies below ``folder``; what it logs is in ``folder/log``."""
    config = folder / "config.toml"
    config.write_text(configuration)
    given = {"STATE_DIRECTORY": str(folder / "state"), **(environment or {})}
    agent = Agent(config, given, fault, folder / "log")
    try:
        yield agent
    finally:
        agent.kill()
