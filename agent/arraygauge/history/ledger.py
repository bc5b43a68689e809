"""What probing took of each device, kept so that neither a kill nor a clock grants more.

Before a burst its largest possible cost is reserved, on the disk; after it the true cost takes
its place. A kill in between leaves the reservation counted. While the disk takes nothing (full,
gone read-only) entries are held in memory, counted all the same, and written as soon as it does.
"""

from __future__ import annotations

import secrets
import sqlite3
import threading
from collections.abc import Iterable, Sequence
from contextlib import suppress
from typing import NewType

from arraygauge.history.database import History
from arraygauge.history.moment import Clock, Moment
from arraygauge.history.problems import HistoryError
from arraygauge.history.spending_rows import (
    Entry,
    date_as_now,
    forget_old,
    recent_days,
    recent_spendings,
    replace_burst,
    roll_up,
    stored_entries,
    written_after_today,
)
from arraygauge.probe.budget import (
    DAY_SECONDS,
    HOUR_SECONDS,
    BudgetLimits,
    Charge,
    Spending,
    allowance,
)

KEPT_RAW_SECONDS = 48 * HOUR_SECONDS
KEPT_DAYS = 400

Token = NewType("Token", int)
"""Names one burst from its reservation on."""


class Ledger:
    """Safe for several threads and processes. ``problem`` is set while entries cannot be
    written: they are then lost if this process ends.

    Charges are dated by the ledger's own clock: a reservation begins now, a settled burst
    ended now.
    """

    def __init__(self, history: History, clock: Clock) -> None:
        self.problem: HistoryError | None = None
        self._history = history
        self._clock = clock
        self._held: dict[Token, tuple[Entry, ...]] = {}
        self._lock = threading.RLock()

    def reserve(
        self, charges: Sequence[Charge], limits: BudgetLimits | None = None
    ) -> Token | None:
        """Count a burst's largest possible cost before it begins.

        With ``limits``, only if every device's allowance covers it, else None: nobody else
        can spend the same allowance in between. Without, whatever it costs. Raises
        HistoryError only where limits are given and what was spent cannot be read.
        """
        token = Token(secrets.randbits(62))
        with self._lock:
            now = self._clock()
            entries = tuple(Entry(began=now, charge=charge) for charge in charges)
            try:
                with self._history.transaction() as connection:
                    if not self._covered(connection, charges, limits, now):
                        return None
                    self._write(connection, token, entries)
                self._all_written()
            except HistoryError as error:
                with self._history.reading() as connection:
                    if not self._covered(connection, charges, limits, now):
                        return None
                self._hold(token, entries, error, now)
        return token

    def settle(self, token: Token, charges: Sequence[Charge]) -> None:
        """The burst is over and cost this. Settling twice is settling the last time."""
        with self._lock:
            now = self._clock()
            entries = tuple(
                Entry(began=_earlier(now, charge.busy_seconds), charge=charge) for charge in charges
            )
            try:
                with self._history.transaction() as connection:
                    self._write(connection, token, entries)
                self._all_written()
            except HistoryError as error:
                self._hold(token, entries, error, now)

    def spent_since(self, device_id: str, seconds: float) -> tuple[Spending, ...]:
        """One device's entries that ended less than ``seconds`` ago, unsettled ones included,
        dated by today's clock; whole days where they are older than two.

        Raises HistoryError where the history cannot be read.
        """
        with self._lock, self._history.reading() as connection:
            return self._spent(connection, device_id, seconds, self._clock())

    def written_since(self, device_id: str, seconds: float) -> int:
        """Bytes written to one device in so many seconds, up to 400 days. Raises as above."""
        with self._lock, self._history.reading() as connection:
            now = self._clock()
            spent = self._spent(connection, device_id, seconds, now)
            future = written_after_today(connection, device_id, now)
            return future + sum(each.written_bytes for each in spent)

    def prune(self) -> None:
        """Roll up what is older than two days, and keep each device's newest 400 days. What a
        clock set back has left in the future begins now.

        Where the disk takes nothing, all stays as it is and ``problem`` is set.
        """
        with self._lock:
            now = self._clock()
            try:
                with self._history.transaction() as connection:
                    stored = tuple(stored_entries(connection))
                    roll_up(connection, [each for each in stored if _is_old(each.entry, now)], now)
                    future = [each for each in stored if now.is_before(each.entry.began)]
                    date_as_now(connection, future, now)
                    forget_old(connection, KEPT_DAYS)
            except HistoryError as error:
                self.problem = error

    def move_to(self, history: History) -> None:
        """Go on in another history, with the last two days' entries as far as they can be read:
        from memory to a file that can be written again, or from a damaged file to a new one.
        The one before is for the caller to close, afterwards."""
        with self._lock:
            raw: dict[Token, tuple[Entry, ...]] = {}
            with suppress(HistoryError), self._history.reading() as connection:
                for each in stored_entries(connection):
                    token = Token(each.burst)
                    raw[token] = (*raw.get(token, ()), each.entry)
            self._held = {**raw, **self._held}
            self._history = history
            try:
                with history.transaction() as connection:
                    self._write_held(connection)
                self._all_written()
            except HistoryError as error:
                self.problem = error

    def _covered(
        self,
        connection: sqlite3.Connection,
        charges: Iterable[Charge],
        limits: BudgetLimits | None,
        now: Moment,
    ) -> bool:
        if limits is None:
            return True
        return all(
            allowance(
                limits,
                self._spent(connection, charge.device_id, DAY_SECONDS, now),
                now.wall_seconds,
            ).covers(charge.moved_bytes, charge.busy_seconds)
            for charge in charges
        )

    def _spent(
        self, connection: sqlite3.Connection, device_id: str, seconds: float, now: Moment
    ) -> tuple[Spending, ...]:
        """What is held in memory stands for the same burst's rows on the disk."""
        stored = recent_spendings(connection, device_id, now, seconds, but=self._held)
        held = [
            entry.at(now)
            for entries in self._held.values()
            for entry in entries
            if entry.charge.device_id == device_id
        ]
        every = (*stored, *held, *recent_days(connection, device_id, now, seconds))
        since = now.wall_seconds - seconds
        return tuple(each for each in every if each.started_at_seconds + each.busy_seconds > since)

    def _write(
        self, connection: sqlite3.Connection, token: Token, entries: Sequence[Entry]
    ) -> None:
        self._write_held(connection)
        replace_burst(connection, token, entries)

    def _write_held(self, connection: sqlite3.Connection) -> None:
        for token, entries in self._held.items():
            replace_burst(connection, token, entries)

    def _hold(
        self, token: Token, entries: tuple[Entry, ...], error: HistoryError, now: Moment
    ) -> None:
        """In memory only what a budget still asks for: a disk may stay full for weeks."""
        self._held[token] = entries
        self._held = {
            held: kept
            for held, kept in self._held.items()
            if not all(_is_old(entry, now) for entry in kept)
        }
        self.problem = error

    def _all_written(self) -> None:
        self._held.clear()
        self.problem = None


def _is_old(entry: Entry, now: Moment) -> bool:
    return now.age_of(entry.began) > KEPT_RAW_SECONDS


def _earlier(now: Moment, seconds: float) -> Moment:
    return Moment(
        wall_seconds=now.wall_seconds - seconds,
        uptime_seconds=now.uptime_seconds - seconds,
        boot_id=now.boot_id,
    )
