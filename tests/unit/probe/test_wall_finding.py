"""The whole finder on simulated drives (``walled_prober``): right, and within the bytes.

The drives are as fast as a slow bridge, a hard disk, a SATA and two NVMe drives let them be;
what solo readings take of each is what the default limits allow.
"""

from __future__ import annotations

from dataclasses import replace
from random import Random
from typing import cast

import pytest

from arraygauge.probe.plan import SamplingLimits
from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.probe.wall_finding import WallFinder
from arraygauge.probe.wall_runs import WallReport
from arraygauge.units import MIB
from unit.probe.walled_prober import WalledProber, alone, plan
from unit.theory.walled_machine import Machine, equal_drives, is_true

SEEDS = range(5)
DRIVES = {"slow": 25e6, "disk": 200e6, "SATA": 550e6, "NVMe": 3e9, "fast NVMe": 7e9}
SHAPES = {
    "2 + 2": (((0, 1), 1.4), ((2, 3), 1.5)),
    "four on one": ((range(4), 2.2),),
    "four on one, barely": ((range(4), 3.4),),
    "none": (),
}
"""Walls around members, as many times one drive's rate as they carry."""


def machine_of(shape: str, rate: float) -> Machine:
    walls = tuple((names, share * rate) for names, share in SHAPES[shape])
    return equal_drives(4, *walls, rate=rate)


def solo_bytes(rate: float) -> int:
    limits = SamplingLimits()
    seconds = limits.warm_up_seconds + limits.places * (
        limits.place_seconds + limits.settle_seconds
    )
    least = limits.places * 2 * 8 * MIB
    return int(min(max(seconds * rate, least), limits.burst_bytes))


def find(
    machine: Machine, stop: StopToken, seed: int, gulp_seconds: float = 0.0, drift: float = 0.0
) -> tuple[WallReport, WalledProber]:
    chance = Random(seed)
    prober = WalledProber(machine, seed, stop, gulp_seconds, drift)
    solo = {
        name: alone(name, rate * chance.uniform(0.985, 1.015), solo_bytes(rate))
        for name, rate in machine.solo.items()
    }
    finder = WallFinder(cast(Prober, prober), chance, even_if_busy=True)
    return finder.find({name: plan(name) for name in solo}, solo), prober


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("drive", DRIVES)
def test_walls_are_told_with_no_more_bytes_than_the_members_alone(
    stop: StopToken, drive: str, shape: str, seed: int
) -> None:
    machine = machine_of(shape, DRIVES[drive])
    report, _ = find(machine, stop, seed)
    assert report.bytes_read <= 4 * solo_bytes(DRIVES[drive])
    assert {wall.members for wall in report.walls} == {names for names, _ in machine.walls}
    assert all(is_true(wall, machine) and wall.certain for wall in report.walls)
    assert (report.unresolved, report.ended_early) == (frozenset(), None)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_first_gulp_of_a_tenth_of_a_second_changes_nothing(stop: StopToken, seed: int) -> None:
    """As caches, bridges and QEMU's throttle let pass."""
    machine = machine_of("2 + 2", DRIVES["slow"])
    report, _ = find(machine, stop, seed, gulp_seconds=0.1)
    assert {wall.members for wall in report.walls} == {names for names, _ in machine.walls}
    assert all(is_true(wall, machine) for wall in report.walls)


@pytest.mark.parametrize("seed", SEEDS)
def test_rates_that_do_not_repeat_are_read_again_and_no_wall_is_made_of_them(
    stop: StopToken, seed: int
) -> None:
    """Each becomes faster or slower all the time, as where others work as well."""
    report, _ = find(machine_of("none", DRIVES["disk"]), stop, seed, drift=0.15)
    assert [len(run.rates) for run in report.runs[:2]] == [4, 4]
    assert not any(wall.certain for wall in report.walls)


@pytest.mark.parametrize("seed", SEEDS)
def test_unsteady_rates_are_taken_for_noise_and_make_walls_less_certain(
    stop: StopToken, seed: int
) -> None:
    machine = machine_of("four on one, barely", DRIVES["disk"])
    steady, unsteady = (find(machine, stop, seed, drift=drift)[0] for drift in (0.0, 0.15))
    assert 0.03 <= steady.noise < unsteady.noise
    assert all(wall.confidence < steady.walls[0].confidence for wall in unsteady.walls)


def test_slow_drives_are_read_by_smaller_transfers_and_for_longer(stop: StopToken) -> None:
    def first(drive: str) -> tuple[int, float]:
        _, prober = find(machine_of("none", DRIVES[drive]), stop, seed=1)
        request = prober.requests[0]
        return request.workload.transfer_bytes, request.warm_up_seconds + request.place_seconds

    (slow_size, slow_seconds), (fast_size, fast_seconds) = first("slow"), first("fast NVMe")
    assert slow_size < fast_size == MIB
    assert slow_seconds > 10 * fast_seconds >= 0.3


def test_bytes_that_do_not_suffice_end_the_search_and_are_not_overspent(stop: StopToken) -> None:
    machine = machine_of("2 + 2", DRIVES["disk"])
    prober = WalledProber(machine, 1, stop)
    solo = {name: alone(name, rate, 0) for name, rate in machine.solo.items()}
    finder = WallFinder(cast(Prober, prober), Random(1), even_if_busy=True)
    report = finder.find({name: plan(name) for name in solo}, solo, max_bytes=300 * MIB)
    assert report.bytes_read <= 300 * MIB
    assert report.ended_early is not None
    assert report.unresolved
    assert len(report.walls) < 2


def test_drives_that_are_faster_in_company_than_alone_end_the_search(stop: StopToken) -> None:
    """Two that a cache serves at half as much again: no wall is made of that."""
    machine = machine_of("none", DRIVES["disk"])
    prober = WalledProber(machine, 1, stop)
    solo = {
        name: alone(name, rate / (1.5 if name in ("m0", "m1") else 1), solo_bytes(rate))
        for name, rate in machine.solo.items()
    }
    finder = WallFinder(cast(Prober, prober), Random(1), even_if_busy=True)
    report = finder.find({name: plan(name) for name in solo}, solo)
    assert report.walls == ()
    assert report.ended_early is not None
    assert report.ended_early.startswith("m0, m1 read faster in company than alone")


@pytest.mark.parametrize("spoilt", [{0}, {1}])
def test_a_run_that_says_nothing_is_made_again(stop: StopToken, spoilt: set[int]) -> None:
    machine = machine_of("four on one", DRIVES["SATA"])
    prober = WalledProber(machine, 1, stop, spoilt=frozenset(spoilt))
    solo = {n: alone(n, rate, solo_bytes(rate)) for n, rate in machine.solo.items()}
    finder = WallFinder(cast(Prober, prober), Random(1), even_if_busy=True)
    report = finder.find({name: plan(name) for name in solo}, solo)
    (wall,) = report.walls
    assert is_true(wall, machine)
    assert report.ended_early is None
    assert report.bytes_read <= 4 * solo_bytes(DRIVES["SATA"])


def test_members_of_which_one_hardly_moves_are_no_run(stop: StopToken) -> None:
    machine = machine_of("four on one", DRIVES["disk"])
    starved = replace(machine, weights=dict(machine.weights) | {"m0": 1e-6})
    report, _ = find(starved, stop, seed=1)
    assert report.walls == ()
    assert report.ended_early is not None
    assert "gave too little" in report.ended_early
