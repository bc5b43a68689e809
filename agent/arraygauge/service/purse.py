"""Spending within the budget: asked before each probing, counted whatever becomes of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from arraygauge.history import (
    Clock,
    History,
    HistoryError,
    Ledger,
    history_without_file,
    open_history,
    system_clock,
)
from arraygauge.inventory.values import Host
from arraygauge.probe.budget import DAY_SECONDS, Allowance, BudgetLimits, allowance
from arraygauge.probe.charges import affordable, charges, shares_of
from arraygauge.probe.own_file import Refusal
from arraygauge.probe.plan import ProbePlan, SamplingLimits
from arraygauge.probe.through_file import Made
from arraygauge.probe.values import Attempt, Measurement, Skipped, SkipReason
from arraygauge.probe.wall_runs import MOST_SECONDS, WallReport
from arraygauge.theory import SEQUENTIAL_WRITE
from arraygauge.units import format_duration

HISTORY_NAME = "history.sqlite"


@dataclass(slots=True)
class Purse:
    """One ledger and the limits it is held to. ``notes`` are sentences about the ledger that
    a person should see."""

    ledger: Ledger
    limits: BudgetLimits
    history: History
    clock: Clock

    @property
    def notes(self) -> tuple[str, ...]:
        return self.history.notes

    @property
    def not_kept(self) -> str | None:
        """The same of entries that cannot be written now; None while all are."""
        problem = self.ledger.problem
        if problem is None:
            return None
        return (
            f"{problem.message}: what this spent is forgotten when the program ends; "
            f"{problem.remedy}"
        )

    def clock_seconds(self) -> float:
        return self.clock().wall_seconds

    def allowance_for(self, host: Host, plan: ProbePlan) -> Allowance:
        """What reading the planned device may still move and last, all below it included."""
        shares = shares_of(host, plan.device, plan.workload)
        return affordable(shares, self.budgets_of(shares))

    def budgets_of(self, device_ids: Iterable[str]) -> dict[str, Allowance]:
        """What is left of each device's budget. Raises HistoryError."""
        now = self.clock_seconds()
        return {
            device_id: allowance(self.limits, self.ledger.spent_since(device_id, DAY_SECONDS), now)
            for device_id in device_ids
        }

    def spend(
        self,
        host: Host,
        plan: ProbePlan,
        limits: SamplingLimits,
        measure: Callable[[SamplingLimits], Attempt],
        *,
        beyond: bool,
    ) -> Attempt:
        """Measure within what is left of the budget, or without regard to it (``beyond``);
        either way it is counted, before it begins at its most, afterwards as it was."""
        if not beyond:
            left = self.allowance_for(host, plan)
            if left.why_none is not None:
                return self._refusal(plan, left)
            limits = _within(limits, plan, left)
        shares = shares_of(host, plan.device, plan.workload)
        most = charges(
            shares,
            moved_bytes=limits.max_bytes * plan.share_count,
            busy_seconds=limits.max_seconds,
        )
        token = self.ledger.reserve(most, None if beyond else self.limits)
        if token is None:
            return self._refusal(plan, self.allowance_for(host, plan))
        attempt = measure(limits)
        size, seconds = (
            (attempt.bytes_read, attempt.seconds) if isinstance(attempt, Measurement) else (0, 0.0)
        )
        self.ledger.settle(token, charges(shares, moved_bytes=size, busy_seconds=seconds))
        return attempt

    def pay_for_file(self, host: Host, device: str, most: int, make: Callable[[], Made]) -> Made:
        """Have an own file made or found on the device, and count what was written for it."""
        shares = shares_of(host, device, SEQUENTIAL_WRITE)
        token = self.ledger.reserve(charges(shares, moved_bytes=most, busy_seconds=0.0))
        made = make()
        written = made.written_bytes if isinstance(made, Refusal) else made.filled_bytes
        if token is not None:
            self.ledger.settle(token, charges(shares, moved_bytes=written, busy_seconds=0.0))
        return made

    def count(
        self,
        host: Host,
        plans: Mapping[str, ProbePlan],
        most_bytes: Mapping[str, int],
        find: Callable[[], WallReport],
    ) -> WallReport:
        """Count what reading several devices together takes, first at its most."""
        shares = {name: shares_of(host, name, plan.workload) for name, plan in plans.items()}
        token = self.ledger.reserve(
            [
                charge
                for name in plans
                for charge in charges(
                    shares[name], moved_bytes=most_bytes[name], busy_seconds=MOST_SECONDS
                )
            ]
        )
        report = find()
        spent = [
            charge
            for name in plans
            for charge in charges(
                shares[name],
                moved_bytes=report.bytes_by_device[name],
                busy_seconds=report.seconds,
            )
        ]
        if token is not None:
            self.ledger.settle(token, spent)
        return report

    def _refusal(self, plan: ProbePlan, left: Allowance) -> Skipped:
        wait = ""
        if left.more_at_seconds is not None:
            seconds = max(left.more_at_seconds - self.clock_seconds(), 0)
            wait = f"; there is more in {format_duration(seconds)}"
        why = left.why_none or "another pass is spending what is left of the budget"
        return Skipped(
            device=plan.device, reason=SkipReason.BUDGET_SPENT, detail=f"{plan.device}: {why}{wait}"
        )


def _within(limits: SamplingLimits, plan: ProbePlan, left: Allowance) -> SamplingLimits:
    return replace(
        limits,
        max_bytes=min(limits.max_bytes, left.bytes_left // plan.share_count),
        max_seconds=min(limits.max_seconds, left.seconds_left),
    )


@contextmanager
def open_purse(state_directory: Path, limits: BudgetLimits, boot_id: str | None) -> Iterator[Purse]:
    """The purse of this machine; where its history cannot be kept, one in memory that says so."""
    clock = system_clock(boot_id)
    try:
        history = open_history(state_directory / HISTORY_NAME)
    except HistoryError as error:
        history = history_without_file(error)
    with history:
        yield Purse(Ledger(history, clock), limits, history, clock)
