"""Simulated machines whose members share ceilings: what the wall finder is tried on.

Rates come from filling shares evenly upward until a member has all it can take or a wall
is full (weighted max-min fairness), written from its definition and knowing nothing of the
finder. Weights of one are even sharing; weights of the solo rates are sharing in
proportion to them; any others are unfair.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from arraygauge.theory.walls import Inference, Run, Wall, infer_walls

Names = frozenset[str]
FULL = 1 - 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """Bytes per second each member reads alone, its weight in sharing, and the walls."""

    solo: Mapping[str, float]
    weights: Mapping[str, float]
    walls: tuple[tuple[Names, float], ...]

    @property
    def members(self) -> Names:
        return frozenset(self.solo)


def equal_drives(count: int, *walls: tuple[Iterable[int], float], rate: float = 530e6) -> Machine:
    """Members m0, m1, … of one rate, with walls around some of them, shared evenly."""
    solo = {f"m{number}": rate for number in range(count)}
    named = tuple((frozenset(f"m{n}" for n in numbers), limit) for numbers, limit in walls)
    return Machine(solo=solo, weights=dict.fromkeys(solo, 1.0), walls=named)


def carried(
    machine: Machine, running: Names, walls: Iterable[tuple[Names, float]] | None = None
) -> dict[str, float]:
    """What each running member reads; under other ``walls`` than the machine's if given."""
    limits = [
        (names & running, limit) for names, limit in (machine.walls if walls is None else walls)
    ]
    rates = dict.fromkeys(sorted(running), 0.0)
    growing = set(running)
    while growing:
        steps = [(machine.solo[name] - rates[name]) / machine.weights[name] for name in growing]
        for names, limit in limits:
            if names & growing:
                room = limit - sum(rates[name] for name in names)
                steps.append(room / sum(machine.weights[name] for name in names & growing))
        for name in growing:
            rates[name] += machine.weights[name] * max(min(steps), 0.0)
        for names, limit in limits:
            if sum(rates[name] for name in names) >= limit * FULL:
                growing -= names
        growing -= {name for name in growing if rates[name] >= machine.solo[name] * FULL}
    return rates


def binding(machine: Machine) -> dict[tuple[Names, float], float]:
    """Each wall, and what its members would carry without it when all run, over its limit:
    1.1 where it takes a tenth. Walls around it and within it stay."""
    found = {}
    for wall in machine.walls:
        names, limit = wall
        others = [other for other in machine.walls if other != wall]
        without = carried(machine, machine.members, others)
        found[wall] = sum(without[name] for name in names) / limit
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """A finished search, with what it was shown."""

    seen_alone: Mapping[str, float]
    runs: tuple[Run, ...]
    found: Inference

    def passes(self, seconds_ratio: float) -> float:
        """Bytes read in all, the solo pass included, in solo passes."""
        together = sum(sum(run.rates.values()) for run in self.runs)
        return 1 + seconds_ratio * together / sum(self.seen_alone.values())


def search(
    machine: Machine, error: Callable[[], float], noise: float = 0.03, most_runs: int = 200
) -> Search:
    """Asks the finder what to read until it is done; ``error`` gives each reading's own."""
    alone = {name: rate * (1 + error()) for name, rate in machine.solo.items()}
    runs: list[Run] = []
    found = infer_walls(alone, runs, noise)
    while found.next_run is not None and len(runs) < most_runs:
        rates = carried(machine, found.next_run)
        runs.append(Run(rates={name: rate * (1 + error()) for name, rate in rates.items()}))
        found = infer_walls(alone, runs, noise)
    return Search(seen_alone=alone, runs=tuple(runs), found=found)


def even_errors(seed: int, width: float = 0.03) -> Callable[[], float]:
    """Errors spread evenly over plus or minus ``width``."""
    source = random.Random(seed)
    return lambda: source.uniform(-width, width)


def is_true(wall: Wall, machine: Machine, unresolved: Names = frozenset()) -> bool:
    """Whether such a wall is there: nobody in it who is not behind it, its capacity within
    5 %, and nobody missing but members named as unresolved or that carry next to nothing."""
    rates = carried(machine, machine.members)
    return any(
        wall.members <= names
        and abs(wall.bytes_per_second / limit - 1) <= 0.05
        and sum(rates[name] for name in names - wall.members - unresolved) < 0.06 * limit
        for names, limit in machine.walls
    )
