"""`arraygauge run`: passes on a schedule, the kernel's events at once, until told to stop.

The main thread waits for signals and for the kernel's events, and obeys or tells within
moments while a pass is probing in its own thread. Probing and reading the machine's state are
done by processes that can be left behind.
"""

from __future__ import annotations

import logging
import select
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from arraygauge.config.model import RunSection
from arraygauge.judge import Status
from arraygauge.probe.stop import StopToken
from arraygauge.service.host_reader import HostUnreadableError
from arraygauge.service.http import application, serving
from arraygauge.service.keeper import Keeper
from arraygauge.service.sentinel import Sentinel
from arraygauge.service.signals import stopping_on_signals
from arraygauge.service.survey import Surveyor
from arraygauge.tell.metrics import StatusCollector

_log = logging.getLogger(__name__)

SHUTDOWN_SECONDS = 1.0
"""How long a pass that was told to stop may take to do so before it is left behind."""
LOOK_SECONDS = 60.0
"""The kernel tells most changes; what it does not tell is found by looking that often."""
SECOND_LOOK_SECONDS = 2.5
"""After a change: what looks over is believed only when it is so again."""
READ_SECONDS = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Daemon:
    """The parts of a running agent. ``on_serving`` gets the address once it is bound,
    ``on_status`` each whole status; ``incidents`` makes the document that is served."""

    surveyor: Surveyor
    keeper: Keeper
    section: RunSection
    stop: StopToken
    collector: StatusCollector
    incidents: Callable[[], str]
    on_serving: Callable[[str], None]
    on_status: Callable[[Status], None]

    def run(self) -> None:
        """Serve, watch and survey until SIGTERM or SIGINT. Raises OperatorError if the port is
        taken."""
        answer = application(self.collector, self.incidents)
        with stopping_on_signals(self.stop), serving(self.section, answer) as address:
            self.on_serving(address)
            self.keeper.start()
            worker = threading.Thread(target=self._keep_surveying, name="passes", daemon=True)
            worker.start()
            self._watch()
            worker.join(SHUTDOWN_SECONDS)
            self.keeper.stop(SHUTDOWN_SECONDS / 2)

    def _watch(self) -> None:
        """The main loop. The sentinel belongs to this thread."""
        sentinel = Sentinel(self.stop)
        sentinel.start()
        poll = select.poll()
        for source in (self.stop, sentinel):
            poll.register(source, select.POLLIN)
        try:
            look_at = time.monotonic()
            while not self.stop.is_set():
                wait = max(look_at - time.monotonic(), 0.0)
                own = sentinel.seconds_to_wait()
                poll.poll(1000 * (wait if own is None else min(wait, own)))
                happened = bool(sentinel.events())
                if happened or time.monotonic() >= look_at:
                    self._look(sentinel)
                    pause = SECOND_LOOK_SECONDS if happened else LOOK_SECONDS
                    look_at = time.monotonic() + pause
        finally:
            sentinel.close()

    def _look(self, sentinel: Sentinel) -> None:
        try:
            host = sentinel.read(READ_SECONDS)
            if host is not None:
                self.keeper.see_host(host)
        except HostUnreadableError as error:
            _log.warning("%s; %s", error.message, error.remedy)
        except Exception:
            _log.exception("a look at the machine failed; the next one is on schedule")
        self.keeper.see_trouble(sentinel.problem)

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
        try:
            status = self.surveyor.survey()
        finally:
            self.surveyor.hosts.close()  # a process that would idle until the next pass
        if self.stop.is_set():
            return  # a pass cut short is not a status
        self.collector.publish(status)
        self.keeper.see_status(status)
        self.on_status(status)
