"""The search for walls, one question at a time: a generator that asks for runs.

1. All together: the *slowed* members are behind walls (``_read_together``).
2. Members left out: *groups* of slowed members that share a wall (``wall_groups``).
3. Each group alone: if it stays slowed as it was, its wall holds it and nobody else.
4. Else outsiders share its wall: other groups (a wall within the wall) or members that
   were not slowed. They are left out by halves until those that matter are found.

Claims are made as soon as they stand, so a caller may stop at any run.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from arraygauge.theory.walls.groups import Request, Steps, next_group
from arraygauge.theory.walls.readings import Evidence, Names, Reading
from arraygauge.theory.walls.values import Wall

WORTH_FINDING = 0.10
"""Walls that take less than this share of what their members could do are claimed when
met, but not searched for: noise would make the search long and its end doubtful."""
REPEATS = 3
"""Runs of all members where the first leaves doubt."""


class WallSearch:
    """Walls found so far, and the steps that find them."""

    def __init__(self, solo: Mapping[str, float], noise: float) -> None:
        alone = Reading(solo)
        self._evidence = Evidence(solo=alone, together=alone, noise=noise)
        self._slowed: Names = frozenset(solo) if len(solo) > 1 else frozenset()
        self._certainty: dict[Names, float] = {}
        self._outsiders: dict[Names, tuple[Names, ...]] = {}
        self._hidden: dict[Names, float] = {}
        self._claims: list[Wall] = []

    def walls(self) -> tuple[Wall, ...]:
        """The claims that agree with each other, widest first."""
        kept = [wall for wall in self._claims if not self._met_twice(wall)]
        agreed = [wall for wall in kept if not any(_cross(wall, other) for other in kept)]
        return tuple(sorted(agreed, key=lambda wall: (-len(wall.members), sorted(wall.members))))

    def _met_twice(self, wall: Wall) -> bool:
        """Whether it is a wider wall seen with a member missed: as much for fewer."""
        return any(
            wall.members < other.members
            and wall.bytes_per_second * self._evidence.clear >= other.bytes_per_second
            for other in self._claims
        )

    def unresolved(self) -> Names:
        """Slowed members in no wall, and members so slow beside a wall that noise may hide
        what they take of it."""
        walls = self.walls()
        placed = frozenset[str]().union(*(wall.members for wall in walls))
        hidden = max((self._hidden[wall.members] for wall in walls), default=0.0)
        rates = self._evidence.solo.rates
        return (self._slowed | {name for name, rate in rates.items() if rate < hidden}) - placed

    def steps(self) -> Steps[None]:
        """Until nothing more can be told."""
        if not self._slowed:
            return
        yield from self._read_together()
        groups = yield from self._claim_groups()
        claimed = {wall.members for wall in self._claims}
        shared = [
            group
            for group in groups
            if group not in claimed and self._worth_finding(group, self._evidence.together)
        ]
        for group in shared:
            yield from self._find_outsiders(group, groups)
        for group in shared:
            yield from self._claim_with_outsiders(group)

    def _read_together(self) -> Steps[None]:
        """Once; more often if nobody is clearly slowed but two members are low at once."""
        everyone = self._evidence.everyone
        self._compare_with((yield Request(everyone)))
        low = sum(self._evidence.pace(name) * self._evidence.doubtful < 1 for name in everyone)
        if low > 1 and not self._slowed:
            self._compare_with((yield Request(everyone, REPEATS)))

    def _compare_with(self, together: Reading) -> None:
        known = self._evidence
        self._evidence = Evidence(solo=known.solo, together=together, noise=known.noise)
        self._slowed = self._evidence.slowed(known.everyone, together)

    def _claim_groups(self) -> Steps[list[Names]]:
        """The slowed members in groups; those that share with nobody else are claimed."""
        groups: list[Names] = []
        rest = self._slowed
        while rest:
            group = yield from next_group(self._evidence, rest)
            self._certainty[group.members] = group.certainty
            groups.append(group.members)
            rest -= group.members
            yield from self._claim_alone(group.members)
        return groups

    def _claim_alone(self, group: Names) -> Steps[None]:
        if len(group) > 1 and (alone := (yield from self._unchanged_in(group, group))):
            self._claim(group, group, alone)

    def _unchanged_in(self, wall: Names, group: Names) -> Steps[Reading | None]:
        """The reading of the wall's members alone, if the group then carries no more than
        with all. Where it may, both are read again: averages tell."""
        reading = yield Request(wall)
        if self._evidence.risen(group, reading):
            return None
        for doubted in (wall, self._evidence.everyone):
            if self._evidence.rise(group, reading) <= self._evidence.doubtful:
                return reading
            yield Request(doubted, REPEATS)
            reading = yield Request(wall)
        return reading if self._evidence.rise(group, reading) <= self._evidence.doubtful else None

    def _worth_finding(self, group: Names, reading: Reading) -> bool:
        kept = reading.total(group) / self._evidence.solo.total(group)
        return kept < 1 - WORTH_FINDING + self._evidence.noise

    def _find_outsiders(self, group: Names, groups: Sequence[Names]) -> Steps[None]:
        others = [other for other in groups if other != group]
        free = [frozenset({name}) for name in sorted(self._evidence.everyone - self._slowed)]
        within = yield from self._that_matter(group, others)
        beside = yield from self._that_matter(group, free)
        self._outsiders[group] = (*within, *beside)

    def _that_matter(self, group: Names, outside: Sequence[Names]) -> Steps[tuple[Names, ...]]:
        """Those of ``outside`` without which the group speeds up."""
        if not outside:
            return ()
        without = yield Request(self._evidence.everyone - frozenset[str]().union(*outside))
        if not self._evidence.risen(group, without):
            return ()
        if len(outside) == 1:
            self._certainty[group] *= self._evidence.certainty_of_rise(group, without)
            return tuple(outside)
        half = (len(outside) + 1) // 2
        first = yield from self._that_matter(group, outside[:half])
        second = yield from self._that_matter(group, outside[half:])
        return (*first, *second)

    def _claim_with_outsiders(self, group: Names) -> Steps[None]:
        wall = self._with_what_it_holds(group)
        if wall == group:
            return
        reading = yield from self._unchanged_in(wall, group)
        if reading and self._worth_finding(group, reading):
            self._claim(wall, group, reading)

    def _with_what_it_holds(self, group: Names) -> Names:
        """A wall around part of another wall holds all of it: links form a tree."""
        held, todo = {group}, [group]
        while todo:
            new = set(self._outsiders.get(todo.pop(), ())) - held
            held |= new
            todo += new
        return frozenset[str]().union(*held)

    def _claim(self, wall: Names, group: Names, reading: Reading) -> None:
        """``reading`` is of the whole wall and nobody else; ``group`` is bound by it."""
        if not self._evidence.slowed(group, reading):
            return
        certainty = self._certainty[group] * self._evidence.certainty_of_slowing(group, reading)
        if wall != self._evidence.everyone:
            certainty *= self._evidence.certainty_below(WORTH_FINDING, group, reading)
        before = self._evidence.together.total(group)
        self._hidden[wall] = reading.total(group) * self._evidence.clear - before
        self._claims.append(
            Wall(members=wall, bytes_per_second=reading.total(wall), confidence=certainty)
        )


def _cross(one: Wall, other: Wall) -> bool:
    """Share members with neither inside the other: no tree of links is like that."""
    shared = one.members & other.members
    return bool(shared) and shared not in (one.members, other.members)
