"""The one way into a trial: every guard in its order, then the trial, then nothing is left."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from pathlib import Path

from arraygauge.history.trials import Shape
from arraygauge.inventory.values import Host
from arraygauge.judge.past_trial import PastTrial
from arraygauge.judge.trialled import choice_of
from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.tell.moments import minute
from arraygauge.tell.trial import DriveToErase, TrialTelling, Written
from arraygauge.theory import Board
from arraygauge.theory.plan import Option, Scope
from arraygauge.trial import md
from arraygauge.trial.asking import Ask, confirm, to_erase
from arraygauge.trial.bench import Bench
from arraygauge.trial.clearance import Cleared, ReadHost, check_root, clear_drives
from arraygauge.trial.drives import RefusedError, named_drives
from arraygauge.trial.guarded import sole_trial
from arraygauge.trial.record import Begun, Kept, Record, terms_word
from arraygauge.trial.running import (
    Intent,
    Outcome,
    Progress,
    done_before,
    intend,
    most_written_to,
    run,
)
from arraygauge.trial.terms import WARM_UP_SECONDS, Terms
from arraygauge.values import frozen

Pasts = tuple[tuple[Shape, PastTrial], ...]
OVERHEAD_SECONDS = 1.0
"""To build an option, start two processes and take it down."""


@frozen
class Request:
    """What a person asked for. ``names`` are stable ids."""

    names: tuple[str, ...]
    scope: Scope
    terms: Terms
    anew: bool
    dry_run: bool


@frozen
class Showing:
    """What is shown before the question: the drives, how many arrays are built, for how long."""

    drives: tuple[DriveToErase, ...]
    options: int
    seconds: float
    notes: tuple[str, ...]


def hold_trial(
    request: Request,
    *,
    directory: Path,
    read_host: ReadHost,
    board_of: Callable[[Host], Board],
    endurance_of: Callable[[Host], Mapping[str, int]],
    stop: StopToken,
    show: Callable[[Showing], None],
    ask: Ask,
    progress: Callable[[], AbstractContextManager[Progress]],
    keep: Callable[[Pasts], None],
) -> TrialTelling | None:
    """The trial, from its guards to its end; None for a dry run.

    Raises OperatorError for whatever keeps it from being held, and once nothing is erased any
    more: no array is left then either.
    """
    check_root()
    md.check_kernel()
    with sole_trial(directory) as warden:
        left = md.take_down_leftovers()
        record = Record(directory)
        host = read_host()
        drives = named_drives(host, request.names)
        marks = record.marks(drives)
        cleared = clear_drives(host, drives, marks, stop)
        component = md.component_bytes(drives)
        intent = intend(
            host,
            drives,
            component,
            scope=request.scope,
            terms=request.terms,
            board=board_of(host),
        )
        if not intent.options:
            raise RefusedError(
                "no array can be made of these drives within what was asked",
                "name more drives, or ask for fewer members or other levels",
            )
        word = terms_word(request.terms, component)
        begun = _begin(record, request, intent, word)
        done = done_before(intent, begun) if begun is not None else {}
        endurance = endurance_of(host)
        show(
            _showing(intent, cleared, done=done, begun=begun, left_behind=left, endurance=endurance)
        )
        if request.dry_run:
            return None
        confirm(cleared, ask)
        begun = begun or record.begin(drives, word)
        bench = Bench(
            cleared=cleared,
            marks=(*marks, begun.mark),
            terms=request.terms,
            prober=Prober(stop),
            warden=warden,
            read_host=read_host,
        )
        with progress() as step:
            outcome = run(intent, bench, record, done, progress=step, stopped=stop.is_set)
    keep(past_of(intent, outcome))
    return _telling(intent, outcome, bench.written, endurance)


def past_of(intent: Intent, outcome: Outcome) -> Pasts:
    """What the history keeps of each option, for the array that may be built of it."""
    ids = {each.name: each.stable_id for each in intent.drives}
    results = (*(each.trialled for each in outcome.compared), *outcome.unpredicted)
    return tuple(
        (
            Shape(
                level=each.option.level,
                layout=each.option.layout,
                chunk_bytes=each.option.chunk_bytes,
                drives=tuple(ids[name] for name in each.option.members),
            ),
            PastTrial(
                read=each.read,
                write=each.write,
                read_workload=intent.terms.asked.read,
                write_workload=intent.terms.asked.write,
                at_seconds=each.at_seconds,
            ),
        )
        for each in results
        if each.whole
    )


def _begin(record: Record, request: Request, intent: Intent, word: str) -> Begun | None:
    """The unfinished trial to go on with, if there is one and it is wanted."""
    return None if request.anew else record.unfinished(intent.drives, word)


def _showing(
    intent: Intent,
    cleared: Sequence[Cleared],
    *,
    done: Mapping[Option, Kept],
    begun: Begun | None,
    left_behind: Sequence[str],
    endurance: Mapping[str, int],
) -> Showing:
    left = [option for option in intent.all_options if option not in done]
    notes = []
    if begun is not None:
        of = len(intent.all_options)
        notes.append(
            f"Goes on with the trial of {minute(begun.at_seconds)}: {of - len(left)} of {of} are "
            "done."
        )
    if left_behind:
        notes.append(f"Taken down: {', '.join(left_behind)}, left by a trial that was killed.")
    each = 2 * (intent.terms.seconds + WARM_UP_SECONDS) + OVERHEAD_SECONDS
    return Showing(
        drives=to_erase(cleared, most_written_to(intent, left), endurance),
        options=len(left),
        seconds=each * len(left),
        notes=tuple(notes),
    )


def _telling(
    intent: Intent, outcome: Outcome, written: Mapping[str, int], endurance: Mapping[str, int]
) -> TrialTelling:
    done = len(outcome.alone) + len(outcome.compared) + len(outcome.unpredicted)
    return TrialTelling(
        alone=outcome.alone,
        compared=outcome.compared,
        unpredicted=outcome.unpredicted,
        choice=choice_of(outcome.compared),
        finished=outcome.finished,
        left=len(intent.all_options) - done,
        written=tuple(
            Written(
                name=each.name,
                size_bytes=each.size_bytes or 0,
                written_bytes=written.get(each.name, 0),
                endurance_bytes=endurance.get(each.stable_id),
            )
            for each in intent.drives
        ),
    )
