"""What befalls the invented workstation: the same every 400 days, after weeks of quiet.

Days are counted from the beginning, with fractions. Pure: a day gives a state.
"""

from __future__ import annotations

from collections.abc import Iterator

from arraygauge.values import frozen

CYCLE_DAYS = 400.0


@frozen
class Slowing:
    """A drive slows little by little, to ``most`` (a share of its rate) on the last day, with
    so much more warmth and so many corrected read errors by then."""

    bay: str
    begins: float
    ends: float
    most: float
    warmer_celsius: float = 0.0
    errors: int = 0


@frozen
class LowLink:
    """A link comes up with fewer lanes than it could."""

    bay: str
    begins: float
    ends: float
    lanes: int


@frozen
class Loss:
    """A drive drops out, another takes its place and is filled."""

    bay: str
    lost: float
    replaced: float
    rebuilt: float


@frozen
class Freeze:
    """A drive does not answer for some seconds while somebody works on its array."""

    bay: str
    at: float
    seconds: float


SLOWINGS = (
    Slowing(bay="sdg", begins=200.0, ends=240.4, most=0.22, warmer_celsius=17.0),
    Slowing(bay="sdc", begins=338.0, ends=386.4, most=0.32, errors=46),
)
LOW_LINKS = (LowLink(bay="nvme2n1", begins=70.375, ends=74.7, lanes=2),)
LOSSES = (
    Loss(bay="sdd", lost=120.61, replaced=121.42, rebuilt=122.35),
    Loss(bay="sdc", lost=385.6, replaced=386.4, rebuilt=387.35),
)
FREEZES = (Freeze(bay="sdh", at=160.65, seconds=8.4),)


@frozen
class BayState:
    """A bay at a moment. ``generation`` counts the drives that were in it before, ``days`` those
    that the present one has been in use; ``lanes`` None for all its link has. ``filled`` is the
    share of it that a rebuild has filled, None where none goes on."""

    generation: int
    days: float
    slower: float = 0.0
    warmer_celsius: float = 0.0
    lanes: int | None = None
    errors: int = 0
    lost: bool = False
    filled: float | None = None


def state_of(bay: str, day: float) -> BayState:
    """A bay on a day."""
    cycle, today = divmod(day, CYCLE_DAYS)
    losses = [each for each in LOSSES if each.bay == bay]
    done = [each for each in losses if each.replaced <= today]
    since = max((each.replaced for each in done), default=None)
    if since is None and losses and cycle:
        since = max(each.replaced for each in losses) - CYCLE_DAYS
    slowing = next((s for s in SLOWINGS if s.bay == bay and s.begins <= today < s.ends), None)
    part = (today - slowing.begins) / (slowing.ends - slowing.begins) if slowing else 0.0
    return BayState(
        generation=int(cycle) * len(losses) + len(done),
        days=day if since is None else today - since,
        slower=slowing.most * part if slowing else 0.0,
        warmer_celsius=slowing.warmer_celsius * part if slowing else 0.0,
        lanes=next(
            (x.lanes for x in LOW_LINKS if x.bay == bay and x.begins <= today < x.ends), None
        ),
        errors=round(slowing.errors * part) if slowing else 0,
        lost=any(each.lost <= today < each.replaced for each in losses),
        filled=next((_filled(x, today) for x in losses if x.replaced <= today < x.rebuilt), None),
    )


def turns(after: float, until: float) -> Iterator[float]:
    """The days, in order, at which the kernel has news: a loss, a rebuild's beginning, each tenth
    of its way and its end."""
    moments = sorted(
        day
        for each in LOSSES
        for day in (
            each.lost,
            *(each.replaced + n / 10 * (each.rebuilt - each.replaced) for n in range(10)),
            each.rebuilt,
        )
    )
    yield from _repeated(moments, after, until)


def freezes(after: float, until: float) -> Iterator[Freeze]:
    """Those that begin in between, in order."""
    for day in _repeated([each.at for each in FREEZES], after, until):
        freeze = next(f for f in FREEZES if abs(f.at - day % CYCLE_DAYS) < 1e-6)
        yield Freeze(bay=freeze.bay, at=day, seconds=freeze.seconds)


def _filled(loss: Loss, today: float) -> float:
    return (today - loss.replaced) / (loss.rebuilt - loss.replaced)


def _repeated(days: list[float], after: float, until: float) -> Iterator[float]:
    for cycle in range(int(after // CYCLE_DAYS), int(until // CYCLE_DAYS) + 1):
        moments = (cycle * CYCLE_DAYS + day for day in days)
        yield from (each for each in moments if after < each <= until)
