"""One option: built, checked, written to, read, taken down."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import replace

from arraygauge.judge.past_trial import Figure
from arraygauge.judge.trialled import Trialled
from arraygauge.probe.runner import Prober
from arraygauge.probe.trial.rates import Rate, Work, read, write
from arraygauge.probe.trial.values import Mark
from arraygauge.theory.geometry import DEFAULT_LAYOUTS
from arraygauge.theory.plan import Option
from arraygauge.trial import md
from arraygauge.trial.clearance import (
    Cleared,
    ReadHost,
    clear_drives,
    still_cleared,
    written_to,
)
from arraygauge.trial.drives import refuse
from arraygauge.trial.guarded import Warden
from arraygauge.trial.record import Kept
from arraygauge.trial.terms import PRIMING, Filled, Terms, filled_by, read_work, write_work
from arraygauge.values import frozen


@frozen
class _Rates:
    """What came of the two directions; None where there was no array to ask."""

    write: Rate | None = None
    read: Rate | None = None
    problem: str | None = None


class Bench:
    """The drives of one trial, cleared, and what is known of each since.

    One option at a time is built of them. ``filled`` is what each drive, by name, holds of this
    trial, ``written`` how many bytes the kernel has counted as written to it meanwhile.
    """

    def __init__(
        self,
        *,
        cleared: Sequence[Cleared],
        marks: tuple[Mark, ...],
        terms: Terms,
        prober: Prober,
        warden: Warden,
        read_host: ReadHost,
    ) -> None:
        """``marks`` are those of all trials that wrote to the drives, this one's last."""
        self._cleared = {each.device.name: each for each in cleared}
        self._marks, self._terms = marks, terms
        self._prober, self._warden, self._read_host = prober, warden, read_host
        self.component_bytes = md.component_bytes([each.device for each in cleared])
        self.filled: dict[str, tuple[Filled, ...]] = {}
        self.written: dict[str, int] = {}

    def measure(self, option: Option) -> Kept | None:
        """Build it, measure it, take it down. None where the trial was told to stop.

        What the kernel refuses is a result with its reason. Raises RefusedError for a drive
        that somebody else uses by now, MachineTroubleError where the array stays; the drives
        are as free as before in every case but that.
        """
        members = [self._cleared[name] for name in option.members]
        self._warden.ensure()
        began, clock = time.time(), time.monotonic()
        before = written_to([each.device for each in members])
        rates, after = self._built(option, members)
        added = {name: size - before[name] for name, size in (after or before).items()}
        for name, size in added.items():
            self.written[name] = self.written.get(name, 0) + size
        if after is not None:  # else nothing was written, and what was counted before still holds
            self._note_written(members, after, sound=rates.problem is None)
        if self._prober.stop.is_set():
            return None
        return Kept(
            trialled=Trialled(
                option=option,
                read=_figure(rates.read),
                write=_figure(rates.write),
                problem=rates.problem,
                at_seconds=began,
                seconds=time.monotonic() - clock,
                read_bytes=rates.read.moved_bytes if rates.read else 0,
                written_bytes=sum(added.values()),
            ),
            filled=self.filled.get(option.members[0], ()) if option.width == 1 else (),
        )

    def _built(
        self, option: Option, members: Sequence[Cleared]
    ) -> tuple[_Rates, dict[str, int] | None]:
        """The rates of an array that is gone again, and what the kernel had counted as written
        to its members while it still was there; None where it never ran."""
        made = None
        try:
            made = md.make(
                self._blueprint(option),
                lambda: still_cleared(self._read_host, members, md.NAME),
            )
            rates = self._rates(option, made, alone=option.width == 1)
            return rates, written_to([each.device for each in members])
        except md.MakingError as error:
            return _Rates(problem=f"the kernel did not build it: {error}"), None
        finally:
            md.stop(made)

    def _blueprint(self, option: Option) -> md.Blueprint:
        return md.Blueprint(
            level=option.level,
            members=tuple(self._cleared[name].device for name in option.members),
            component_bytes=self.component_bytes,
            chunk_bytes=option.chunk_bytes,
            # Without a word md takes 0, which is not the layout that a plan means by none.
            layout=DEFAULT_LAYOUTS.get(option.level) if option.layout is None else option.layout,
        )

    def _rates(self, option: Option, made: md.Made, *, alone: bool) -> _Rates:
        seed = self._marks[-1].seed
        work = write_work(self._terms, option, made.size_bytes, seed)
        if alone:
            work = _primed(work)
        written = write(made.permit, self._prober, self._marks[-1], work)
        if self._prober.stop.is_set() or written.problem is not None:
            return _Rates(write=written, problem=written.problem)
        holds = filled_by(self._terms, option, made.size_bytes, seed, written.written)
        if alone:
            self.filled[option.members[0]] = holds
        reading = self._read_work(option, made, holds)
        if not reading.extents:
            problem = "the drives hold too little of what was written to read it back"
            return _Rates(write=written, problem=problem)
        found = read(made.permit, self._prober, reading)
        return _Rates(write=written, read=found, problem=found.problem)

    def _read_work(self, option: Option, made: md.Made, written: Sequence[Filled]) -> Work:
        nothing = (Filled(start_bytes=0, length_bytes=0),) * self._terms.places
        return read_work(
            self._terms,
            option,
            made.size_bytes,
            self._marks[-1].seed,
            filled=[self.filled.get(name, nothing) for name in option.members],
            component_bytes=self.component_bytes,
            written=written,
        )

    def _note_written(
        self, members: Sequence[Cleared], after: Mapping[str, int], *, sound: bool
    ) -> None:
        """From here on any other count is somebody else's. After trouble the kernel may still
        be writing what was begun: what the drives hold is looked at anew, and one that was blank
        and now holds what no trial wrote is somebody else's too."""
        if sound and not self._prober.stop.is_set():
            for each in members:
                name = each.device.name
                self._cleared[name] = replace(each, written_bytes=after[name])
        elif not self._prober.stop.is_set():
            drives = [each.device for each in members]
            fresh = clear_drives(self._read_host(), drives, self._marks, self._prober.stop)
            for was, now in zip(members, fresh, strict=True):
                if was.blank and not now.blank:
                    where = f"at byte {now.examined.strange_at}"
                    refuse(now.device, (f"it holds data, {where}, that no trial wrote",))
                self._cleared[now.device.name] = now


def _primed(work: Work) -> Work:
    return replace(
        work,
        place_seconds=work.place_seconds * PRIMING,
        max_bytes=round(work.max_bytes * PRIMING),
    )


def _figure(rate: Rate | None) -> Figure | None:
    if rate is None or rate.centre is None:
        return None
    return Figure(rate=rate.centre.rate, low=rate.centre.low, high=rate.centre.high)
