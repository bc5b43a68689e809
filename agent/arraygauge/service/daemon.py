"""`arraygauge run`: all parts of the agent, until told to stop.

The main thread only starts them, sees that each makes progress, and obeys signals: it waits for
no disk, no drive and no lock. Probing and reading the machine's state are done by processes
that can be left behind.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from contextlib import ExitStack

from arraygauge.config import Configuration
from arraygauge.errors import OperatorError
from arraygauge.history.stalls import Stalls
from arraygauge.inventory.values import DeviceKind, Host
from arraygauge.judge import Status
from arraygauge.judge.findings import Finding
from arraygauge.judge.passive import Watched
from arraygauge.probe.stop import StopToken
from arraygauge.service.budget_uses import budget_uses
from arraygauge.service.channels import ways_of
from arraygauge.service.door import Door
from arraygauge.service.grounds import grounds_of, unplaced_footage
from arraygauge.service.heartbeat import Heartbeat
from arraygauge.service.http import Serving, application
from arraygauge.service.inventory_process import COMMAND
from arraygauge.service.keeper import Keeper
from arraygauge.service.notifier import Notifier
from arraygauge.service.page import Page
from arraygauge.service.page_events import Followers
from arraygauge.service.page_known import PageKnowledge
from arraygauge.service.parts import Part, Parts, finding_of
from arraygauge.service.passes import Passes
from arraygauge.service.passive_telling import PassiveTelling
from arraygauge.service.passive_watch import PassiveWatcher
from arraygauge.service.signals import reloading_on_signal, stopping_on_signals
from arraygauge.service.survey import Surveyor
from arraygauge.service.upkeep import Upkeep
from arraygauge.service.watching import Watching
from arraygauge.tell.heartbeat_json import heartbeat_document
from arraygauge.tell.metrics import StatusCollector
from arraygauge.tell.passive_json import watching_document
from arraygauge.tell.sender import Message
from arraygauge.tell.status_line import Standing, status_line
from arraygauge.values import frozen

_log = logging.getLogger(__name__)

SHUTDOWN_SECONDS = 1.0
"""How long parts that were told to stop may take to do so before they are left behind."""
CHECK_SECONDS = 30.0
"""How often the parts are looked at where no watchdog asks for it more often."""


@frozen
class Setting:
    """What a daemon is made of. ``load`` reads the configuration anew or raises OperatorError;
    ``on_serving`` gets the address once it is bound, ``on_status`` each whole status;
    ``incidents`` makes the document that is served, with what the passive watch sees;
    ``command`` starts the inventory's process."""

    surveyor: Surveyor
    keeper: Keeper
    machine_name: str
    load: Callable[[], Configuration]
    stop: StopToken
    incidents: Callable[[tuple[Watched, ...]], str]
    on_serving: Callable[[str], None]
    on_status: Callable[[Status], None]
    notifier: Notifier
    command: tuple[str, ...] = COMMAND


class Daemon:
    """The parts of a running agent and how they are bound together."""

    def __init__(self, setting: Setting) -> None:
        """Raises OperatorError if the port is taken."""
        self._setting = setting
        self._stop, self._keeper = setting.stop, setting.keeper
        self._notifier = setting.notifier
        self._configuration = setting.surveyor.configuration
        self._host: Host | None = None
        self._told: tuple[int, ...] = ()
        self._unplaced: tuple[str, ...] = ()
        self._collector = StatusCollector()
        self._door = Door(self._configuration.exposure)
        self._knowledge = PageKnowledge(
            setting.machine_name,
            setting.surveyor.purse.history,
            seen=lambda: watching_document(self._passive.watched),
        )
        self._followers = Followers(self._knowledge.revision, self._stop)
        page = Page(self._knowledge)
        self._serving = Serving(
            self._configuration.run,
            application(self._collector, self._incidents, page, self._followers),
            self._stop,
            self._door,
            self._followers,
        )
        self._passes = Passes(
            setting.surveyor, self._stop, self._saw_pass, self._collector.note_failure
        )
        self._watching = Watching(
            keeper=self._keeper,
            stop=self._stop,
            on_look=self._looked,
            on_resume=self._passes.look_at_clock,
            command=setting.command,
        )
        self._passive_telling = PassiveTelling(self._keeper, Stalls(self._keeper.pen), self._stop)
        self._passive = PassiveWatcher(
            self._stop,
            self._configuration,
            setting.surveyor.sampler.prober.own_probes,
            on_news=self._passive_telling.offer,
            on_suspicion=self._passes.wake_pass,
        )
        self._upkeep = Upkeep(
            stop=self._stop,
            notifier=self._notifier,
            keeper=self._keeper,
            reload=self._reload,
            findings=self._findings,
            status=lambda: status_line(self._standing()),
        )
        self._heartbeat = Heartbeat(
            self._configuration.heartbeat, self._stop, self._sign_of_life, self._upkeep.news.ring
        )
        self._parts = Parts(self._every_part(), self._stop, self._upkeep.news.ring)

    def run(self) -> tuple[str, ...]:
        """Serve, watch and survey until SIGTERM or SIGINT; parts that had to be left behind."""
        with ExitStack() as signals:
            signals.enter_context(stopping_on_signals(self._stop))
            signals.enter_context(reloading_on_signal(self._upkeep.asked.ring))
            self._use(self._configuration)
            self._keeper.start()
            self._setting.on_serving(self._serving.address)
            self._parts.start()
            self._notifier.ready()
            self._supervise()
            self._notifier.stopping()
            return self._parts.end(SHUTDOWN_SECONDS)

    def _every_part(self) -> tuple[Part, ...]:
        return (
            Part(name="watching", run=self._watching.run),
            Part(name="passive watch", run=self._passive.run),
            Part(name="passive telling", run=self._passive_telling.run),
            Part(name="passes", run=self._passes.run),
            Part(name="delivery", run=self._keeper.deliver, wake=self._keeper.stop),
            Part(name="http", run=self._serving.run),
            Part(name="open pages", run=self._followers.run),
            Part(name="heartbeat", run=self._heartbeat.run),
            Part(name="upkeep", run=self._upkeep.run),
        )

    def _supervise(self) -> None:
        """The main loop: the watchdog is fed while every part makes progress."""
        watchdog = self._notifier.watchdog_seconds
        period = min(CHECK_SECONDS, watchdog / 2) if watchdog else CHECK_SECONDS
        overdue: tuple[str, ...] = ()
        while True:
            before, overdue = overdue, self._parts.overdue
            if overdue != before:
                _log.error("parts that make no progress: %s", ", ".join(overdue) or "none")
                self._upkeep.news.ring()
            if not overdue:
                self._notifier.alive()
                self._collector.note_heartbeat(time.time())
            self._publish()
            if self._stop.wait(period):
                return

    def _reload(self) -> None:
        configuration = self._setting.load()
        self._door.change(configuration.exposure)
        try:
            self._serving.move(configuration.run)
        except OperatorError:
            self._door.change(self._configuration.exposure)
            raise
        self._use(configuration)

    def _use(self, configuration: Configuration) -> None:
        """In all parts but the one that serves, whose address may not be had."""
        self._configuration = configuration
        self._collector.publish_interval(configuration.run.interval_seconds)
        self._setting.surveyor.purse.limits = configuration.budget.limits()
        self._passes.reconfigure(configuration)
        self._passive.reconfigure(configuration)
        ways = ways_of(configuration.journal, configuration.webhook, configuration.notify)
        self._keeper.tell_by(tuple(ways), configuration.telling.give_up_after_seconds)
        self._heartbeat.reconfigure(configuration.heartbeat)

    def _saw_pass(self, status: Status) -> None:
        self._collector.publish(status)
        self._knowledge.see_status(status, grounds_of(self._configuration, status.host))
        self._keeper.see_status(status)
        self._warn_of_unplaced(status.host)
        purse = self._setting.surveyor.purse
        uses = budget_uses(purse, status.host)
        self._collector.publish_budget(uses)
        self._knowledge.see_budget(uses, purse.limits)
        self._publish()
        self._upkeep.news.ring()
        try:
            self._setting.on_status(status)
        # Rich ends the program with SystemExit when its output closes; measuring goes on.
        except (Exception, SystemExit):
            _log.exception("what was measured could not be printed")

    def _warn_of_unplaced(self, host: Host) -> None:
        """Once, of footage that is declared for an array that is not there."""
        unplaced = unplaced_footage(self._configuration, host)
        if unplaced and unplaced != self._unplaced:
            _log.warning("[[footage]] names no array of this machine: %s", ", ".join(unplaced))
        self._unplaced = unplaced

    def _looked(self, host: Host | None) -> None:
        if host is not None:
            self._passive.see_host(host)
            self._collector.publish_host(host)
            self._knowledge.see_host(host)
        self._publish()
        changed = self._host is None or host is None or _size(host) != _size(self._host)
        self._host = host or self._host
        told = tuple(each.number for each in self._keeper.open_incidents)
        if changed or told != self._told:
            self._told = told
            self._upkeep.news.ring()

    def _publish(self) -> None:
        """What only memory is asked for; often enough that a scrape shows it."""
        self._collector.publish_incidents(self._keeper.open_incidents)
        self._collector.publish_channels(self._keeper.channel_states)

    def _incidents(self) -> str:
        return self._setting.incidents(self._passive.watched)

    def _findings(self) -> tuple[Finding, ...]:
        return (*map(finding_of, self._parts.troubles), *self._heartbeat.findings)

    def _standing(self) -> Standing:
        arrays, drives = _size(self._host) if self._host is not None else (None, None)
        return Standing(
            arrays=arrays,
            drives=drives,
            incidents=self._keeper.open_incidents,
            troubles=self._parts.troubles,
            refused=self._upkeep.refused,
        )

    def _sign_of_life(self) -> Message | None:
        if self._parts.overdue:
            return None
        return heartbeat_document(self._setting.machine_name, time.time(), self._standing())


def _size(host: Host) -> tuple[int, int]:
    """How many arrays and drives."""
    drives = sum(device.kind is DeviceKind.DRIVE for device in host.devices)
    return len(host.arrays), drives
