"""Spending on writes: within the budget and the drives' endurance, or not at all.

Writes wear flash, so here nothing is beyond the budget: not on request, and not while what was
spent before cannot be known.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from arraygauge.history import HistoryError, Token
from arraygauge.inventory.values import DeviceKind, Host
from arraygauge.probe.budget import Allowance
from arraygauge.probe.charges import affordable, charges, shares_of
from arraygauge.probe.shares import Share
from arraygauge.probe.values import Skipped, SkipReason
from arraygauge.probe.writes.endurance import YEAR_SECONDS, WriteAllowance, write_allowance
from arraygauge.probe.writes.talk import making_seconds
from arraygauge.probe.writes.values import (
    WriteAttempt,
    WriteMeasurement,
    WriteOutcome,
    WriteRequest,
)
from arraygauge.service.purse import Purse
from arraygauge.values import frozen

_CUT_OFF = (WriteOutcome.TIMED_OUT, WriteOutcome.ABANDONED, WriteOutcome.CRASHED)


@frozen
class WritePurse:
    """One purse, and the bytes that drives are declared to endure, by stable id."""

    purse: Purse
    endurance: Mapping[str, int]

    def spend(
        self, host: Host, request: WriteRequest, write: Callable[[WriteRequest], WriteAttempt]
    ) -> WriteAttempt:
        """Write within what is left; counted at its most before it begins, as it was after."""
        shares = shares_of(host, request.device, request.workload)
        try:
            paid = self._reserve(host, request, shares)
        except HistoryError as error:
            return _skipped(request, SkipReason.BUDGET_UNKNOWN, error.message)
        if isinstance(paid, Skipped):
            return paid
        within, token = paid
        if (unknown := self._why_unknown()) is not None:  # what was reserved is not on the disk
            self.purse.ledger.settle(token, charges(shares, moved_bytes=0, busy_seconds=0.0))
            return _skipped(request, SkipReason.BUDGET_UNKNOWN, unknown)
        attempt = write(within)
        made = attempt if isinstance(attempt, WriteMeasurement) else None
        size, seconds = (_written(within, made), made.seconds) if made is not None else (0, 0.0)
        self.purse.ledger.settle(token, charges(shares, moved_bytes=size, busy_seconds=seconds))
        return attempt

    def _reserve(
        self, host: Host, request: WriteRequest, shares: Mapping[str, Share]
    ) -> tuple[WriteRequest, Token] | Skipped:
        """The request within what is left, and that much set aside for it. Making the file
        seldom takes all the time it may: no more of that is asked for than there is."""
        if (unknown := self._why_unknown()) is not None:
            return _skipped(request, SkipReason.BUDGET_UNKNOWN, unknown)
        left = self.allowance(host, shares)
        if left.why_none is not None or left.seconds_left < request.longest_seconds:
            why = left.why_none or f"only {left.seconds_left:.1f} s of the budget are left"
            return _skipped(request, SkipReason.BUDGET_SPENT, why)
        within = replace(request, max_bytes=min(request.max_bytes, left.bytes_left))
        longest = request.longest_seconds + making_seconds(request.whole_file_bytes)
        seconds = min(longest, left.seconds_left)
        most = charges(shares, moved_bytes=within.max_bytes, busy_seconds=seconds)
        token = self.purse.ledger.reserve(most, self.purse.limits)
        if token is None:
            why = "another pass is spending what is left of the budget"
            return _skipped(request, SkipReason.BUDGET_SPENT, why)
        return within, token

    def allowance(self, host: Host, shares: Mapping[str, Share]) -> Allowance:
        """The user bytes and seconds left: of the budget, and of each drive's year. Raises
        HistoryError where what was spent cannot be read."""
        return affordable(shares, self.purse.budgets_of(shares), self._wear(host, shares))

    def _wear(self, host: Host, shares: Mapping[str, Share]) -> dict[str, WriteAllowance]:
        """Of the drives at the bottom: arrays and partitions do not wear."""
        drives = {
            device.stable_id: device
            for device in host.devices
            if device.stable_id in shares and device.kind is DeviceKind.DRIVE
        }
        return {
            stable_id: write_allowance(
                self.purse.limits,
                self.endurance.get(stable_id),
                device.size_bytes,
                self.purse.ledger.written_since(stable_id, YEAR_SECONDS),
            )
            for stable_id, device in drives.items()
        }

    def _why_unknown(self) -> str | None:
        """Why it cannot be known, or not be kept, what was written before."""
        problem = self.purse.ledger.problem
        if problem is not None:
            return f"what was written before cannot be written down: {problem.message}"
        if self.purse.history.path is None:
            return "what was written before is not kept on a disk"
        return None


def _written(request: WriteRequest, made: WriteMeasurement) -> int:
    """What was written at most: of a child that did not live to tell, all that it had begun."""
    begun = request.queue_depth * request.transfer_bytes if made.outcome in _CUT_OFF else 0
    return made.bytes_written + begun


def _skipped(request: WriteRequest, reason: SkipReason, why: str) -> Skipped:
    detail = f"{request.device}: {why}; nothing is written without a budget for it"
    return Skipped(device=request.device, reason=reason, detail=detail)
