"""How many streams an array carries: healthy, degraded and rebuilding.

From its own measured rate where there is one, else from the model with its members' rates. A
shortfall that was measured is taken to stay in other conditions.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from arraygauge.inventory.values import Array, Host
from arraygauge.judge.arrays import expected_rates, member_rates
from arraygauge.judge.footage_values import Basis, Carried, FootageVerdict, Grasp, Promise
from arraygauge.judge.pace import rate_of
from arraygauge.judge.peers import Grounds
from arraygauge.judge.values import ArrayVerdict
from arraygauge.probe.values import Attempt, Measurement
from arraygauge.theory import (
    ArrayModel,
    Board,
    Direction,
    Expectation,
    MemberRate,
    Source,
    Workload,
    expect,
    model_array,
)
from arraygauge.theory.conditions import Condition, condition_of, in_condition, with_heads
from arraygauge.theory.footage import most_streams
from arraygauge.theory.shape import rotational_of
from arraygauge.values import frozen

Band = tuple[float, float]
"""Least and most, bytes per second."""


def with_footage(
    host: Host, verdict: ArrayVerdict, attempts: Mapping[str, Attempt], grounds: Grounds
) -> ArrayVerdict:
    """The verdict, with what becomes of the footage promised on that array."""
    promises = grounds.footage.get(verdict.array.name, ())
    if not promises:
        return verdict
    rates = rates_as_found(host, verdict.array, attempts, grounds)
    heads = heads_of(host)
    model = _model(host, verdict.array, (rates, heads), grounds.board)
    if model is None:
        return replace(verdict, footage=tuple(FootageVerdict(promise=each) for each in promises))
    scale = _measured(model, verdict.attempt) or _Scale(share=1.0)
    grasp = Grasp(
        rates=rates,
        heads=heads,
        geometry=model.geometry,
        share=scale.share,
        board=grounds.board,
    )
    return replace(
        verdict,
        footage=tuple(
            FootageVerdict(promise=each, carried=_carried(model, each, scale), grasp=grasp)
            for each in promises
        ),
    )


def as_it_is(host: Host, array: Array, verdict: FootageVerdict) -> FootageVerdict:
    """A pass's verdict by what a later look shows: the same where nothing changed, else by the
    model; nothing carried where that does not know."""
    model = _seen_later(host, array, verdict)
    if model is None:
        return verdict if verdict.grasp is None else replace(verdict, carried=())
    if _is_as_judged(model, verdict):
        return verdict
    return replace(verdict, carried=_carried(model, verdict.promise, _later_scale(verdict)))


def carried_now(host: Host, array: Array, verdict: FootageVerdict) -> Carried | None:
    """The present one of ``as_it_is``, for a fraction of the work."""
    model = _seen_later(host, array, verdict)
    if model is None:
        return None
    if _is_as_judged(model, verdict):
        return verdict.now
    return _in(model, condition_of(model), verdict.promise, _later_scale(verdict))


def _seen_later(host: Host, array: Array, verdict: FootageVerdict) -> ArrayModel | None:
    grasp = verdict.grasp
    if grasp is None:
        return None
    return _model(host, array, (grasp.rates, grasp.heads), grasp.board)


def _is_as_judged(model: ArrayModel, verdict: FootageVerdict) -> bool:
    grasp, then = verdict.grasp, verdict.now
    if grasp is None or then is None:
        return False
    return (condition_of(model), model.geometry) == (then.condition, grasp.geometry)


def _later_scale(verdict: FootageVerdict) -> _Scale:
    return _Scale(share=verdict.grasp.share if verdict.grasp is not None else 1.0)


def rates_as_found(
    host: Host, array: Array, attempts: Mapping[str, Attempt], grounds: Grounds
) -> dict[str, MemberRate]:
    """Members as they were measured; those that were not as they should be."""
    measured = {
        name: MemberRate(
            read_bytes_per_second=rate, write_bytes_per_second=None, source=Source.MEASURED
        )
        for name, rate in member_rates(array, attempts).items()
    }
    return {**expected_rates(host, array, attempts, grounds), **measured}


def heads_of(host: Host) -> frozenset[str]:
    """Devices with heads to move, by name."""
    return frozenset(each.name for each in host.devices if rotational_of(host, each))


def _model(
    host: Host, array: Array, known: tuple[Mapping[str, MemberRate], frozenset[str]], board: Board
) -> ArrayModel | None:
    rates, heads = known
    model = model_array(host, array, rates, board, Direction.READ)
    return with_heads(model, heads) if model is not None else None


@frozen
class _Scale:
    """What was measured of an array against what the model gave for the same: ``one`` is the
    expectation, ``rate`` was measured; ``share`` of the expected is given in any condition."""

    share: float
    rate: float | None = None
    one: Expectation | None = None

    def band(self, expected: Expectation) -> Band:
        """In another condition than the measured one."""
        return (
            self.share * expected.floor_bytes_per_second,
            self.share * expected.ceiling_bytes_per_second,
        )

    def measured_band(self, expected: Expectation) -> Band:
        """Of other work than was measured, in the same condition."""
        if self.rate is None or self.one is None:
            return self.band(expected)
        ends = (
            self.rate * expected.floor_bytes_per_second / self.one.floor_bytes_per_second,
            self.rate * expected.ceiling_bytes_per_second / self.one.ceiling_bytes_per_second,
        )
        return min(ends), max(ends)


def _measured(model: ArrayModel, attempt: Attempt) -> _Scale | None:
    rate = rate_of(attempt)
    if rate is None or not isinstance(attempt, Measurement):
        return None
    one = expect(model, attempt.workload)
    if one is None:
        return None
    return _Scale(share=min(1.0, rate / one.floor_bytes_per_second), rate=rate, one=one)


def _carried(model: ArrayModel, promise: Promise, scale: _Scale) -> tuple[Carried, ...]:
    each = (_in(model, condition, promise, scale) for condition in Condition)
    return tuple(carried for carried in each if carried is not None)


def _in(model: ArrayModel, condition: Condition, promise: Promise, scale: _Scale) -> Carried | None:
    """The worst way the array can be in that condition."""
    now = condition_of(model) is condition
    measured = now and scale.rate is not None
    band = scale.measured_band if measured else scale.band
    ways = [_Way(model=each, promise=promise, band=band) for each in in_condition(model, condition)]
    known = [way for way in ways if way.expected(1) is not None]
    if not known:
        return None
    worst = min(known, key=lambda way: way.rates(promise.streams or 1))
    least, most, bare = worst.streams()
    rates = worst.rates(promise.streams or max(1, least))
    return Carried(
        condition=condition,
        now=now,
        basis=Basis.MEASURED if measured else Basis.PREDICTED,
        least_bytes_per_second=rates[0],
        most_bytes_per_second=rates[1],
        least_streams=least,
        most_streams=most,
        bare_streams=bare,
    )


@frozen
class _Way:
    """One way an array can be in a condition. ``band`` makes rates of an expectation."""

    model: ArrayModel
    promise: Promise
    band: Callable[[Expectation], Band]

    def expected(self, streams: int) -> Expectation | None:
        return expect(self.model, self.workload(streams))

    def workload(self, streams: int) -> Workload:
        return self.promise.stream.workload(streams)

    def rates(self, streams: int) -> Band:
        """With so many streams at once."""
        expected = self.expected(streams)
        return self.band(expected) if expected is not None else (0.0, 0.0)

    def streams(self) -> tuple[int, int, int]:
        """At least and at most with the headroom, and at most without."""
        stream, headroom = self.promise.stream, self.promise.headroom
        kept: dict[int, Band] = {}

        def end(index: int) -> Callable[[int], float]:
            def rate(count: int) -> float:
                if count not in kept:
                    kept[count] = self.rates(count)
                return kept[count][index]

            return rate

        return (
            most_streams(end(0), stream, headroom),
            most_streams(end(1), stream, headroom),
            most_streams(end(1), stream),
        )
