"""What the page is made from, gathered: frozen values as the daemon publishes them, and reads
of the history through a connection that cannot write."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence

from arraygauge.errors import OperatorError
from arraygauge.history import History
from arraygauge.history.trend import (
    incident_spans,
    last_change,
    open_for_looking,
    sized_rates,
    stretches_of,
    usual_workload,
)
from arraygauge.inventory.values import Array, Host
from arraygauge.judge import Grounds, Status
from arraygauge.probe.budget import BudgetLimits
from arraygauge.tell.metrics import BudgetUse
from arraygauge.tell.page.inputs import MOST_INCIDENTS, Known, Past, Spans

STRETCHES, COARSE_STRETCHES = 240, 14
"""Into how many a period is divided for its picture and for its table."""
RECENT_SECONDS = 400 * 86400.0
"""How far back incidents are listed on the first page."""


class PageKnowledge:
    """Each ``see_*`` replaces one whole value and may be called from any thread. ``history`` is
    the agent's: where it is a file, that is read through a connection of the page's own.
    ``notice`` stands above every page; ``seen`` gives the passive watch's document."""

    def __init__(
        self,
        machine: str,
        history: History,
        *,
        notice: str = "",
        clock: Callable[[], float] = time.time,
        seen: Callable[[], Sequence[dict[str, object]]] = tuple,
    ) -> None:
        self._machine = machine
        self._notice = notice
        self._clock = clock
        self._seen = seen
        self._theirs = history
        self._own: History | None = None
        self._lock = threading.Lock()
        self._host: Host | None = None
        self._status: Status | None = None
        self._budget: tuple[BudgetUse, ...] = ()
        self._limits = BudgetLimits()
        self._grounds = Grounds()
        self._shown: object = None
        self._revision = 0

    def see_host(self, host: Host) -> None:
        """What the kernel says, unless something newer is known."""
        if self._host is None or host.taken_at_seconds >= self._host.taken_at_seconds:
            self._host = host

    def see_status(self, status: Status, grounds: Grounds) -> None:
        """What a pass found, and what it was judged on."""
        self._status, self._grounds = status, grounds
        self.see_host(status.host)

    def see_budget(self, uses: Sequence[BudgetUse], limits: BudgetLimits) -> None:
        """Of every device that has a budget."""
        self._budget, self._limits = tuple(uses), limits

    def revision(self) -> int:
        """Another number once a page would show something else."""
        shows = (self._status, _shown(self._host), self._budget, self._last_change())
        with self._lock:
            if shows != self._shown:
                self._shown, self._revision = shows, self._revision + 1
            return self._revision

    def known(self) -> Known:
        """All that is known now; what the history cannot tell is said in its place."""
        now = self._clock()
        try:
            found, total = incident_spans(
                self._history(), None, (now - RECENT_SECONDS, now), MOST_INCIDENTS
            )
            spans, troubles = Spans(found=found, total=total), self._theirs.notes
        except OperatorError as error:
            spans, troubles = Spans(), (f"{error.message}; {error.remedy}",)
        return Known(
            machine=self._machine,
            host=self._host,
            status=self._status,
            seen=tuple(self._seen()),
            budget=self._budget,
            limits=self._limits,
            grounds=self._grounds,
            incidents=spans,
            notice=self._notice,
            troubles=troubles,
        )

    def past(self, array: Array, period: str, seconds: float) -> Past:
        """An array's past up to now. Raises HistoryError."""
        history, now = self._history(), self._clock()
        window = (now - seconds, now)
        workload = usual_workload(history, array.stable_id)
        stretches, coarse = (
            stretches_of(history, array.stable_id, workload, window, most) if workload else ()
            for most in (STRETCHES, COARSE_STRETCHES)
        )
        found, total = incident_spans(
            history, (array.name, array.stable_id), window, MOST_INCIDENTS
        )
        return Past(
            period=period,
            start_seconds=window[0],
            end_seconds=window[1],
            stretches=stretches,
            coarse=coarse,
            incidents=Spans(found=found, total=total),
            curve=sized_rates(history, array.stable_id),
        )

    def nothing_past(self, period: str, seconds: float) -> Past:
        """Where the history cannot be read."""
        now = self._clock()
        return Past(period=period, start_seconds=now - seconds, end_seconds=now)

    def _history(self) -> History:
        path = self._theirs.path
        if path is None:
            return self._theirs
        with self._lock:
            if self._own is None:
                self._own = open_for_looking(path)
            return self._own

    def _last_change(self) -> int | None:
        try:
            return last_change(self._history())
        except OperatorError:
            return None


def _shown(host: Host | None) -> object:
    """What is shown of a look: not when it was, and of a synchronisation whole per cents."""
    if host is None:
        return None
    return tuple(
        (
            each.stable_id,
            each.name,
            each.state,
            each.degraded,
            each.sync_action,
            _per_cent(each),
            each.members,
        )
        for each in host.arrays
    )


def _per_cent(array: Array) -> int | None:
    if array.sync_done_bytes is None or not array.sync_total_bytes:
        return None
    return 100 * array.sync_done_bytes // array.sync_total_bytes
