"""A whole trial: each drive alone, then every option, each result kept at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from arraygauge.inventory.values import BlockDevice, Host
from arraygauge.judge.trialled import Compared, Trialled
from arraygauge.tell.trial import option_phrase
from arraygauge.theory import Board, MemberRate, Source
from arraygauge.theory.paths import shared_links
from arraygauge.theory.plan import (
    Option,
    PlannedDrive,
    Scope,
    Supply,
    enumerate_options,
    predict,
)
from arraygauge.trial.bench import Bench
from arraygauge.trial.record import Begun, Kept, Record
from arraygauge.trial.terms import Terms, alone, most_written
from arraygauge.values import frozen

Progress = Callable[[str, int, int], None]
NOMINAL = 1e8
"""A rate for drives not measured yet: only that all have the same counts for which options
there are."""


@frozen
class Intent:
    """What a trial is to do: ``options`` of more than one drive, all of ``drives``, of which
    ``component_bytes`` each are used."""

    host: Host
    drives: tuple[BlockDevice, ...]
    component_bytes: int
    options: tuple[Option, ...]
    terms: Terms
    board: Board

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(each.name for each in self.drives)

    @property
    def all_options(self) -> tuple[Option, ...]:
        """Each drive alone first: that fills them, and predictions stand on it."""
        return (*(alone(name) for name in self.names), *self.options)


@frozen
class Outcome:
    """What a trial gave so far: each drive alone, every option measured beside its prediction.
    ``supply`` is what predictions stand on, None while not all drives were measured."""

    alone: tuple[Trialled, ...]
    supply: Supply | None
    compared: tuple[Compared, ...]
    unpredicted: tuple[Trialled, ...]
    finished: bool


def intend(
    host: Host,
    drives: tuple[BlockDevice, ...],
    component_bytes: int,
    *,
    scope: Scope,
    terms: Terms,
    board: Board,
) -> Intent:
    """All options of these drives that are in scope."""
    supply = _supply(host, drives, component_bytes, board, {})
    return Intent(
        host=host,
        drives=drives,
        component_bytes=component_bytes,
        options=enumerate_options(supply, scope),
        terms=terms,
        board=board,
    )


def most_written_to(intent: Intent, left: Sequence[Option]) -> dict[str, int]:
    """Bytes that each drive takes at most, by name, for the options that are left to do."""
    most = dict.fromkeys(intent.names, 0)
    for option in left:
        each = most_written(intent.terms, option, intent.component_bytes)
        for name in option.members:
            most[name] += each
    return most


def done_before(intent: Intent, begun: Begun) -> dict[Option, Kept]:
    """What an earlier run of this trial has kept, under today's names; drives alone only while
    what they were filled with is known."""
    names = dict(zip(begun.drives, intent.names, strict=True))
    found = {}
    for kept in begun.kept:
        old = kept.trialled.option
        option = replace(old, members=tuple(names[each] for each in old.members))
        if kept.trialled.whole:
            found[option] = replace(kept, trialled=replace(kept.trialled, option=option))
    return found


def run(
    intent: Intent,
    bench: Bench,
    record: Record,
    done: dict[Option, Kept],
    *,
    progress: Progress,
    stopped: Callable[[], bool],
) -> Outcome:
    """Measure what is not done, each result kept before the next begins; until told to stop."""
    wanted = intent.all_options
    for option in wanted:
        if (kept := done.get(option)) is not None and option.width == 1:
            bench.filled[option.members[0]] = kept.filled
    for index, option in enumerate(wanted):
        if option in done:
            continue
        progress(option_phrase(option), index, len(wanted))
        kept = None if stopped() else bench.measure(option)
        if kept is None:
            return outcome_of(intent, done, finished=False)
        record.keep(kept, intent.names)
        done[option] = kept
    record.end()
    return outcome_of(intent, done, finished=True)


def outcome_of(intent: Intent, done: Mapping[Option, Kept], *, finished: bool) -> Outcome:
    """All that was measured, each option beside what the drives' own rates predict of it."""
    singles = {name: done.get(alone(name)) for name in intent.names}
    results = tuple(done[option].trialled for option in intent.options if option in done)
    rates = {
        name: MemberRate(
            read_bytes_per_second=kept.trialled.read.rate,
            write_bytes_per_second=kept.trialled.write.rate,
            source=Source.MEASURED,
        )
        for name, kept in singles.items()
        if kept is not None and kept.trialled.read and kept.trialled.write
    }
    supply = None
    if len(rates) == len(intent.names):
        supply = _supply(intent.host, intent.drives, intent.component_bytes, intent.board, rates)
    return Outcome(
        alone=tuple(kept.trialled for kept in singles.values() if kept is not None),
        supply=supply,
        compared=() if supply is None else tuple(_compared(supply, intent, results)),
        unpredicted=results if supply is None else (),
        finished=finished,
    )


def _compared(supply: Supply, intent: Intent, results: Iterable[Trialled]) -> Iterator[Compared]:
    for each in results:
        prediction = predict(supply, each.option, intent.terms.asked)
        yield Compared(trialled=each, prediction=prediction)


def _supply(
    host: Host,
    drives: Sequence[BlockDevice],
    component_bytes: int,
    board: Board,
    rates: Mapping[str, MemberRate],
) -> Supply:
    nominal = MemberRate(
        read_bytes_per_second=NOMINAL, write_bytes_per_second=NOMINAL, source=Source.ASSUMED
    )
    names = [each.name for each in drives]
    return Supply(
        drives=tuple(
            PlannedDrive(
                name=each.name,
                size_bytes=component_bytes,
                rate=rates.get(each.name, nominal),
                write_source=Source.MEASURED,
                rotational=each.rotational,
            )
            for each in drives
        ),
        links=shared_links(host, names, board.uplinks),
        parity_bytes_per_second=board.parity_bytes_per_second,
        parity_source=board.parity_source,
    )
