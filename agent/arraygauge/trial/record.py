"""The trial's own record: what was begun, on which drives, and every result at once.

One JSON object a line, each written and flushed by itself, so that a kill or a power cut costs
at most the line that was being written; a torn last line is passed over. Members of an option
are numbers in the trial's list of drives. Rates are bytes per second.
"""

from __future__ import annotations

import json
import os
import secrets
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict, replace
from pathlib import Path

from arraygauge.errors import MachineTroubleError
from arraygauge.history.regular import open_regular
from arraygauge.inventory.values import BlockDevice, Level
from arraygauge.judge.past_trial import Figure
from arraygauge.judge.trialled import Trialled
from arraygauge.probe.trial.values import Mark
from arraygauge.theory.plan import Option
from arraygauge.trial.terms import Filled, Terms
from arraygauge.values import frozen

NAME = "trials.jsonl"
FORMAT = 1


@frozen
class Kept:
    """A result as it is kept; ``filled`` of a drive alone says what it now holds."""

    trialled: Trialled
    filled: tuple[Filled, ...] = ()


@frozen
class Begun:
    """A trial: its mark, its drives by stable id, when it began, and what it has so far.

    ``terms`` is an opaque word for all that makes results comparable.
    """

    mark: Mark
    drives: tuple[str, ...]
    terms: str
    at_seconds: float
    ended: bool = False
    kept: tuple[Kept, ...] = ()


class Record:
    """The file of all trials of this machine."""

    def __init__(self, directory: Path) -> None:
        self.path = directory / NAME

    def trials(self) -> tuple[Begun, ...]:
        """All that were ever begun, oldest first."""
        found: list[Begun] = []
        for said in self._lines():
            try:
                _take(found, said)
            except (KeyError, TypeError, ValueError, IndexError):
                continue  # torn, or another version's
        return tuple(found)

    def marks(self, drives: Sequence[BlockDevice]) -> tuple[Mark, ...]:
        """Those of trials that wrote to any of these drives."""
        ids = {each.stable_id for each in drives}
        return tuple(each.mark for each in self.trials() if ids & set(each.drives))

    def unfinished(self, drives: Sequence[BlockDevice], terms: str) -> Begun | None:
        """The last trial, if it was of these drives on these terms and did not end."""
        last = next(iter(self.trials()[-1:]), None)
        ids = tuple(each.stable_id for each in drives)
        fits = last is not None and not last.ended and (last.drives, last.terms) == (ids, terms)
        return last if fits else None

    def begin(self, drives: Sequence[BlockDevice], terms: str) -> Begun:
        """A new trial, kept before anything is written to its drives."""
        begun = Begun(
            mark=Mark(seed=secrets.token_hex(16)),
            drives=tuple(each.stable_id for each in drives),
            terms=terms,
            at_seconds=time.time(),
        )
        self._add(
            {
                "kind": "begin",
                "format": FORMAT,
                "mark": begun.mark.seed,
                "drives": begun.drives,
                "terms": terms,
                "at": begun.at_seconds,
            }
        )
        return begun

    def keep(self, kept: Kept, names: Sequence[str]) -> None:
        """One result; ``names`` are the drives' as its option has them, in the trial's order."""
        trialled = kept.trialled
        option = trialled.option
        self._add(
            {
                "kind": "option",
                "level": str(option.level),
                "members": [names.index(name) for name in option.members],
                "chunk": option.chunk_bytes,
                "layout": option.layout,
                "read": asdict(trialled.read) if trialled.read else None,
                "write": asdict(trialled.write) if trialled.write else None,
                "problem": trialled.problem,
                "at": trialled.at_seconds,
                "seconds": trialled.seconds,
                "read_bytes": trialled.read_bytes,
                "written_bytes": trialled.written_bytes,
                "filled": [(each.start_bytes, each.length_bytes) for each in kept.filled],
            }
        )

    def end(self) -> None:
        """The trial has done all it was asked to."""
        self._add({"kind": "end", "at": time.time()})

    def _add(self, said: dict[str, object]) -> None:
        """On a line of its own, even after a torn one; on the disk when this returns.

        Raises MachineTroubleError where it cannot be had there.
        """
        try:
            self._append(json.dumps(said).encode())
        except OSError as error:
            raise MachineTroubleError(
                f"{self.path}: what was found cannot be kept: {error.strerror}",
                "free some space there; the same command then goes on",
            ) from error

    def _append(self, line: bytes) -> None:
        fd = open_regular(self.path, os.O_RDWR | os.O_APPEND | os.O_CREAT)
        try:
            size = os.fstat(fd).st_size
            torn = size > 0 and os.pread(fd, 1, size - 1) != b"\n"
            os.write(fd, b"\n" * torn + line + b"\n")
            os.fsync(fd)
        finally:
            os.close(fd)

    def _lines(self) -> Iterator[dict[str, object]]:
        try:
            text = self.path.read_text(encoding="utf-8", errors="replace")
        except FileNotFoundError:
            return
        for line in text.splitlines():
            try:
                said = json.loads(line)
            except ValueError:
                continue
            if isinstance(said, dict):
                yield said


def terms_word(terms: Terms, component_bytes: int) -> str:
    """All that results depend on besides drives and option, as one word."""
    return json.dumps([FORMAT, asdict(terms), component_bytes], default=str)


def _take(found: list[Begun], said: dict[str, object]) -> None:
    """Read one line on. Raises what a line of another form gives cause for."""
    kind = said["kind"]
    if kind == "begin":
        found.append(_begun(said))
    elif kind == "option":
        last = found[-1]
        found[-1] = replace(last, kept=(*last.kept, _kept(said, last.drives)))
    elif kind == "end":
        found[-1] = replace(found[-1], ended=True)


def _begun(said: dict[str, object]) -> Begun:
    if said["format"] != FORMAT:
        # Its results are not understood, but its mark must be, or its blocks would be strange.
        return Begun(
            mark=Mark(seed=str(said["mark"])),
            drives=_words(said["drives"]),
            terms="",
            at_seconds=0.0,
            ended=True,
        )
    return Begun(
        mark=Mark(seed=str(said["mark"])),
        drives=_words(said["drives"]),
        terms=str(said["terms"]),
        at_seconds=_number(said["at"]),
    )


def _kept(said: dict[str, object], drives: tuple[str, ...]) -> Kept:
    """Members by stable id here: the caller knows today's names."""
    chunk, layout, problem = said["chunk"], said["layout"], said["problem"]
    option = Option(
        level=Level(str(said["level"])),
        members=tuple(drives[int(_number(each))] for each in _list(said["members"])),
        chunk_bytes=None if chunk is None else int(_number(chunk)),
        layout=None if layout is None else int(_number(layout)),
    )
    trialled = Trialled(
        option=option,
        read=_figure(said["read"]),
        write=_figure(said["write"]),
        problem=None if problem is None else str(problem),
        at_seconds=_number(said["at"]),
        seconds=_number(said["seconds"]),
        read_bytes=int(_number(said["read_bytes"])),
        written_bytes=int(_number(said["written_bytes"])),
    )
    pairs = [_list(each) for each in _list(said["filled"])]
    filled = tuple(
        Filled(start_bytes=int(_number(start)), length_bytes=int(_number(length)))
        for start, length in pairs
    )
    return Kept(trialled=trialled, filled=filled)


def _figure(said: object) -> Figure | None:
    if said is None:
        return None
    if not isinstance(said, dict):
        raise TypeError("an object expected")
    low, high = said["low"], said["high"]
    return Figure(
        rate=_number(said["rate"]),
        low=None if low is None else _number(low),
        high=None if high is None else _number(high),
    )


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError("a number expected")
    return float(value)


def _list(value: object) -> list[object]:
    if not isinstance(value, list):
        raise TypeError("a list expected")
    return value


def _words(value: object) -> tuple[str, ...]:
    return tuple(str(each) for each in _list(value))
