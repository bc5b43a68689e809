"""On what terms options are measured, where on them, and how much that writes at most. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field, replace
from fractions import Fraction
from math import lcm
from random import Random

from arraygauge.inventory.values import Level
from arraygauge.probe.trial.rates import Work
from arraygauge.probe.values import Extent
from arraygauge.theory.capacity import capacity
from arraygauge.theory.geometry import PARITY_LEVELS, Copies
from arraygauge.theory.plan import Asked, Option
from arraygauge.theory.values import SEQUENTIAL_READ, Workload
from arraygauge.values import frozen

WARM_UP_SECONDS, SETTLE_SECONDS = 0.5, 0.1
PRIMING = 1.5
"""A drive alone is written to for so much longer at each place, that faster reads find enough."""
ALONE_CHUNK = 512 * 1024


@frozen
class Terms:
    """Each direction of each option is measured for ``seconds`` in all, at ``places`` spread
    over the array, and moves ``most_bytes`` of user data at most."""

    seconds: float = 6.0
    places: int = 6
    most_bytes: int = 8 * 2**30
    asked: Asked = field(default_factory=Asked)

    @property
    def place_seconds(self) -> float:
        return self.seconds / self.places


@frozen
class Filled:
    """What a drive holds of a trial's data at one place, in bytes of the part it gives to
    arrays."""

    start_bytes: int
    length_bytes: int


def fractions(seed: str, places: int) -> tuple[Fraction, ...]:
    """Where on everything that is measured the places begin: the same for all options, so that
    a disk's rim and hub count alike for each; one in the first half of each equal part."""
    chance = Random(seed)  # noqa: S311 (no secrets here)
    return tuple(Fraction(at * 1000 + chance.randrange(500), places * 1000) for at in range(places))


def stripe_bytes(option: Option) -> int:
    """User data in one row over all members, which writes should begin at."""
    chunk = option.chunk_bytes
    if chunk is None:
        return 1
    return chunk * (option.width - PARITY_LEVELS.get(option.level, 0))


def write_work(terms: Terms, option: Option, size_bytes: int, seed: str) -> Work:
    """Writing at each place for its time, up to where the next begins."""
    workload = _workload(terms.asked.write, option)
    starts = _starts(terms, option, size_bytes, seed, workload)
    ends = [*starts[1:], size_bytes]
    lengths = [(end - start) // workload.transfer_bytes for start, end in _zip(starts, ends)]
    return _work(
        terms,
        workload,
        tuple(
            Extent(start_bytes=start, length_bytes=count * workload.transfer_bytes)
            for start, count in _zip(starts, lengths)
            if count > 0
        ),
    )


def filled_by(
    terms: Terms, option: Option, size_bytes: int, seed: str, written: Sequence[Extent]
) -> tuple[Filled, ...]:
    """What each place holds after ``write_work`` was done so far; a place too small to be
    written to, or not come to, holds nothing."""
    reached = {each.start_bytes: each.length_bytes for each in written}
    workload = _workload(terms.asked.write, option)
    return tuple(
        Filled(start_bytes=start, length_bytes=reached.get(start, 0))
        for start in _starts(terms, option, size_bytes, seed, workload)
    )


def read_work(
    terms: Terms,
    option: Option,
    size_bytes: int,
    seed: str,
    *,
    filled: Sequence[Sequence[Filled]],
    component_bytes: int,
    written: Sequence[Filled],
) -> Work:
    """Reading at the same places, as far as the array holds a trial's data there.

    That is what was just ``written`` to it, and what all members were ``filled`` with: what lies
    a share of the way into the array lies that share of the way into each member, unless copies
    are far.
    """
    workload = _workload(terms.asked.read, option)
    starts = _starts(terms, option, size_bytes, seed, workload)
    ends = [each.start_bytes + each.length_bytes for each in written]
    if not _has_far_copies(option):
        reach = [
            min(
                (place.start_bytes + place.length_bytes) * size_bytes // component_bytes
                for place in places
            )
            for places in zip(*filled, strict=True)
        ]
        ends = [max(pair) for pair in zip(ends, reach, strict=True)]
    lengths = [(end - start) // workload.transfer_bytes for start, end in _zip(starts, ends)]
    return _work(
        terms,
        workload,
        tuple(
            Extent(start_bytes=start, length_bytes=count * workload.transfer_bytes)
            for start, count in _zip(starts, lengths)
            if count > 0
        ),
    )


def _has_far_copies(option: Option) -> bool:
    return option.level is Level.RAID10 and Copies.from_layout(option.layout).far > 1


def _workload(asked: Workload, option: Option) -> Workload:
    """As asked of arrays; a drive alone is kept busy by fewer transfers, and more only wait."""
    if option.width > 1:
        return asked
    return replace(asked, queue_depth=min(asked.queue_depth, SEQUENTIAL_READ.queue_depth))


def _zip(one: Sequence[int], other: Sequence[int]) -> list[tuple[int, int]]:
    return list(zip(one, other, strict=True))


def _starts(
    terms: Terms, option: Option, size_bytes: int, seed: str, workload: Workload
) -> list[int]:
    """At whole rows, in whole transfers: of an array the next ones, of a drive that is filled
    those before, so that it is filled from where any array's place may begin."""
    step = lcm(workload.transfer_bytes, stripe_bytes(option))
    wanted = [int(share * size_bytes) for share in fractions(seed, terms.places)]
    return [(at // step if option.width == 1 else -(-at // step)) * step for at in wanted]


def _work(terms: Terms, workload: Workload, extents: tuple[Extent, ...]) -> Work:
    return Work(
        workload=workload,
        extents=extents,
        place_seconds=terms.place_seconds,
        warm_up_seconds=WARM_UP_SECONDS,
        settle_seconds=SETTLE_SECONDS,
        max_bytes=terms.most_bytes,
    )


def most_written(terms: Terms, option: Option, component_bytes: int) -> int:
    """Bytes that one member takes at most for one option: its share of the user data, copies
    and parity included; where rows are written in part, each piece rewrites its parity."""
    room = capacity(option.geometry(seeks=None), [component_bytes] * option.width).usable_bytes
    most = terms.most_bytes if option.width > 1 else round(terms.most_bytes * PRIMING)
    user = min(most, room)
    if option.level is Level.RAID1:
        return user
    if option.level is Level.RAID10:
        return round(user * Copies.from_layout(option.layout).total / option.width)
    return round(user * (1 + PARITY_LEVELS.get(option.level, 0)) / option.width)


def alone(name: str) -> Option:
    """One drive by itself, as a stripe of one: how drives are measured, and first filled."""
    return Option(level=Level.RAID0, members=(name,), chunk_bytes=ALONE_CHUNK)
