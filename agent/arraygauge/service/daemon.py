"""`arraygauge run`: passes on a schedule, metrics on a loopback port, until told to stop.

The main thread only waits for a signal, so that it can obey one within moments while
a pass is probing. Probes run in children that can be left behind. A read of /proc or
/sys that hangs in the kernel (behind a hung md member) is not: it keeps its thread, and
with it the process, until the kernel lets go.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from prometheus_client import CollectorRegistry, start_http_server

from arraygauge.config.model import RunSection
from arraygauge.errors import OperatorError
from arraygauge.judge import Status
from arraygauge.probe.stop import StopToken
from arraygauge.service.signals import stopping_on_signals
from arraygauge.service.survey import Surveyor
from arraygauge.tell.metrics import StatusCollector

_log = logging.getLogger(__name__)

_SHUTDOWN_SECONDS = 1.0
"""How long a pass that was told to stop may take to do so before it is left behind."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Daemon:
    """The parts of a running agent. ``on_serving`` gets the address once it is bound,
    ``on_status`` each whole status."""

    surveyor: Surveyor
    section: RunSection
    stop: StopToken
    collector: StatusCollector
    on_serving: Callable[[str], None]
    on_status: Callable[[Status], None]

    def run(self) -> None:
        """Serve and survey until SIGTERM or SIGINT. Raises OperatorError if the port is taken."""
        with stopping_on_signals(self.stop), serving(self.section, self.collector) as address:
            self.on_serving(address)
            worker = threading.Thread(target=self._keep_surveying, name="passes", daemon=True)
            worker.start()
            self.stop.wait(None)
            worker.join(_SHUTDOWN_SECONDS)

    def _keep_surveying(self) -> None:
        while not self.stop.is_set():
            try:
                self._pass()
            # Rich ends the program with SystemExit when its output closes; measuring goes on.
            except (Exception, SystemExit):
                self.collector.note_failure()
                _log.exception("a pass failed; the next one will be tried on schedule")
            self.stop.wait(self.section.interval_seconds)

    def _pass(self) -> None:
        status = self.surveyor.survey()
        if self.stop.is_set():
            return  # a pass cut short is not a status
        self.collector.publish(status)
        self.on_status(status)


@contextmanager
def serving(section: RunSection, collector: StatusCollector) -> Iterator[str]:
    """Metrics over HTTP at the configured address; yields the address as bound."""
    registry = CollectorRegistry()
    registry.register(collector)
    try:
        server, thread = start_http_server(
            section.listen_port, addr=section.listen_address, registry=registry
        )
    except OSError as error:
        raise OperatorError(
            f"cannot serve on {section.listen_address}:{section.listen_port}: {error.strerror}",
            "stop what uses it, or choose another with run.listen_address and run.listen_port "
            "in the configuration",
        ) from error
    try:
        yield f"{section.listen_address}:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join(_SHUTDOWN_SECONDS)
