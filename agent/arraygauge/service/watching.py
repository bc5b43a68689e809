"""Watching the kernel's events, and looking at the machine after each and now and then."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Sequence

from arraygauge.inventory.events import EventKind, KernelEvent
from arraygauge.inventory.values import Host
from arraygauge.probe.stop import StopToken
from arraygauge.probe.suspension import suspended_seconds
from arraygauge.service.bell import wait_for
from arraygauge.service.host_reader import HostUnreadableError
from arraygauge.service.inventory_process import COMMAND
from arraygauge.service.keeper import Keeper
from arraygauge.service.parts import Pulse
from arraygauge.service.sentinel import Sentinel
from arraygauge.values import frozen

_log = logging.getLogger(__name__)

LOOK_SECONDS = 60.0
"""The kernel tells most changes; what it does not tell is found by looking that often."""
SECOND_LOOK_SECONDS = 2.5
"""After a change, and where something looks over: that is believed only when it is so again."""
READ_SECONDS = 10.0
BUSY_SECONDS = 60.0
"""Longer than a look and writing down what it found can take."""
SUSPENDED_SECONDS = 1.0
"""Less is the difference between two readings of the clocks."""


@frozen
class Watching:
    """A part of the daemon. ``on_look`` is called after each look with what it saw, if it did;
    ``on_resume`` when the machine was suspended since the last. ``command`` starts the
    inventory's process."""

    keeper: Keeper
    stop: StopToken
    on_look: Callable[[Host | None], None]
    on_resume: Callable[[], None]
    command: tuple[str, ...] = COMMAND

    def run(self, pulse: Pulse) -> None:
        """Until told to stop. The sentinel belongs to the calling thread."""
        sentinel = Sentinel(self.stop, self.command)
        try:
            sentinel.start()
            self._follow(sentinel, pulse)
        finally:
            sentinel.close()

    def _follow(self, sentinel: Sentinel, pulse: Pulse) -> None:
        look_at = all_at = time.monotonic()
        suspended = suspended_seconds()
        while not self.stop.is_set():
            wait, own = look_at - time.monotonic(), sentinel.seconds_to_wait()
            pulse.rest()
            wait_for((self.stop, sentinel), wait if own is None else min(wait, own))
            pulse.busy(BUSY_SECONDS)
            events = sentinel.events()
            happened = bool(events)
            if happened or time.monotonic() >= look_at:
                if (now := suspended_seconds()) - suspended > SUSPENDED_SECONDS:
                    suspended = now
                    self.on_resume()
                arrays_only = _of_arrays(events) and time.monotonic() < all_at
                doubt = self._look(sentinel, arrays_only=arrays_only)
                pulse.well()
                soon = happened or doubt
                look_at = time.monotonic() + (SECOND_LOOK_SECONDS if soon else LOOK_SECONDS)
                all_at = all_at if arrays_only else time.monotonic() + LOOK_SECONDS

    def _look(self, sentinel: Sentinel, *, arrays_only: bool) -> bool:
        """Whether what it showed has to be looked for once more. Where arrays are enough
        at first it is told sooner, and all is read soon after."""
        host = None
        try:
            host = sentinel.read(READ_SECONDS, arrays_only=arrays_only)
            if host is not None:
                self.keeper.see_host(host)
        except HostUnreadableError as error:
            _log.warning("%s; %s", error.message, error.remedy)
        self.keeper.see_trouble(sentinel.problem)
        self.on_look(host)
        return host is not None and self.keeper.in_doubt


def _of_arrays(events: Sequence[KernelEvent]) -> bool:
    """Whether something was told, and nothing but of arrays and of devices that are gone."""
    return bool(events) and all(
        event.kind is EventKind.MD or (event.kind is EventKind.BLOCK and event.action == "remove")
        for event in events
    )
