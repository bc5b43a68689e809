"""Others' work is noticed within a few looks, and the probe's own never taken for it.

The counters are files that the test writes, read by the real reader.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from arraygauge.probe.lookout import (
    LOOKS_TO_BE_SURE,
    NEIGHBOUR_BYTES,
    OTHERS_BYTES,
    SYNC_EVERY,
    CounterLookout,
)
from arraygauge.probe.stop import StopToken
from arraygauge.probe.watch import Watch
from unit.probe.counted_machine import CountedMachine, own_bytes
from unit.probe.looked_at import Burst, SlowBurst

KIB, MIB = 1 << 10, 1 << 20
ALONE = Watch(carriers=(("sda",),))
AT_REST = own_bytes(0, 0)


@contextmanager
def watching(
    machine: CountedMachine, watch: Watch = ALONE, *, while_syncing: bool = False
) -> Iterator[CounterLookout]:
    with CounterLookout(watch, while_syncing=while_syncing, tree=machine.tree) as lookout:
        lookout.begin()
        yield lookout


@pytest.fixture
def machine(tmp_path: Path) -> CountedMachine:
    return CountedMachine(tmp_path, "sda", "sdb", "sdc", "md0")


DEPTHS = (1, 2, 4, 8, 16, 32)
ways_to_count = pytest.mark.parametrize("at_end", [False, True], ids=["at start", "at end"])


@ways_to_count
@pytest.mark.parametrize("depth", DEPTHS)
def test_the_probe_s_own_reads_are_never_taken_for_others(
    tmp_path: Path, depth: int, at_end: bool
) -> None:
    """Whenever the device counts a read, however deep the queue, with threads held up: 1000
    looks for each, on a slow drive and a fast one."""
    for index, mb_per_second in enumerate((120, 2500)):
        burst = Burst(
            tmp_path / str(index),
            40 + depth,
            depth=depth,
            at_end=at_end,
            mb_per_second=mb_per_second,
            requests=1 + index,
        )
        with watching(burst.machine) as lookout:
            assert burst.looks_until_alarm(lookout, 500) is None


@ways_to_count
@pytest.mark.parametrize("seed", range(6))
def test_a_processor_that_hardly_keeps_up_makes_nobody_of_the_probe_s_own_reads(
    tmp_path: Path, seed: int, at_end: bool
) -> None:
    """Pieces wait to be begun, so that less is counted than was asked for even where reads are
    counted as they begin; and what ends while a look is had is neither told twice nor learned."""
    burst = SlowBurst(tmp_path, seed, at_end=at_end)
    with watching(burst.machine) as lookout:
        assert [burst.look(lookout) for _ in range(200)] == [None] * 200


@ways_to_count
@pytest.mark.parametrize("depth", DEPTHS)
def test_64_kib_that_others_have_read_are_found_within_a_few_looks(
    tmp_path: Path, depth: int, at_end: bool
) -> None:
    """What is counted and what is in flight are all that the probe asked for; the rest is
    others'."""
    burst = Burst(tmp_path, 70 + depth, depth=depth, at_end=at_end, mb_per_second=500)
    with watching(burst.machine) as lookout:
        assert burst.looks_until_alarm(lookout, 80) is None
        burst.machine.count("sda", read=64 * KIB)
        looks = burst.looks_until_alarm(lookout, 100)
    assert looks is not None
    assert looks <= LOOKS_TO_BE_SURE + 6


@pytest.mark.parametrize("depth", DEPTHS)
def test_one_request_of_others_is_found_before_it_was_answered(tmp_path: Path, depth: int) -> None:
    """Where reads are counted as they end, which is when a deep queue answers late."""
    burst = Burst(tmp_path, 90 + depth, depth=depth, at_end=True, mb_per_second=500, requests=2)
    with watching(burst.machine) as lookout:
        assert burst.looks_until_alarm(lookout, 80) is None
        burst.others_in_flight = 1
        looks = burst.looks_until_alarm(lookout, 100)
    assert looks is not None
    assert looks <= LOOKS_TO_BE_SURE + 6


@ways_to_count
def test_a_device_that_does_not_tell_what_is_in_flight_shows_more_than_was_asked_for(
    machine: CountedMachine, at_end: bool
) -> None:
    with watching(machine) as lookout:
        for turn in range(40):
            machine.count("sda", read=MIB, reads=1)
            own = own_bytes((turn + (5 if at_end else 1)) * MIB, (turn + 1) * MIB)
            assert lookout.look(own) is None
        machine.count("sda", read=5 * MIB, reads=5)
        assert lookout.look(own) == "others read from sda"


@ways_to_count
def test_more_than_is_in_flight_is_found_at_the_next_look(tmp_path: Path, at_end: bool) -> None:
    burst = Burst(tmp_path, 9, depth=4, at_end=at_end, mb_per_second=200)
    with watching(burst.machine) as lookout:
        assert burst.looks_until_alarm(lookout, 5) is None
        burst.machine.count("sda", read=5 * MIB)
        assert burst.looks_until_alarm(lookout, 100) == 1


def test_an_array_s_members_may_show_what_the_array_does_not(machine: CountedMachine) -> None:
    watch = Watch(carriers=(("md0",), ("sda", "sdb")))
    with watching(machine, watch) as lookout:
        machine.count("md0", read=4 * MIB)
        machine.count("sda", read=2 * MIB)
        machine.count("sdb", read=2 * MIB)
        assert lookout.look(own_bytes(4 * MIB, 4 * MIB)) is None
        machine.count("sdb", read=64 * KIB)
        assert lookout.look(own_bytes(4 * MIB, 4 * MIB)) == "others read from one of sda, sdb"


def test_what_a_filesystem_keeps_in_order_is_no_work(machine: CountedMachine) -> None:
    with watching(machine) as lookout:
        machine.count("sda", read=OTHERS_BYTES, written=OTHERS_BYTES)
        assert lookout.look(AT_REST) is None
        machine.count("sda", read=512)
        assert lookout.look(AT_REST) == "others read from sda"


def test_others_writes_are_found_on_what_carries_the_probe_and_below_it(
    machine: CountedMachine,
) -> None:
    for name, watch in (("sda", ALONE), ("sdb", Watch(carriers=(("sda",),), below=("sdb",)))):
        with watching(machine, watch) as lookout:
            machine.count(name, written=64 * KIB)
            assert lookout.look(own_bytes(MIB, 0)) == f"others write to {name}"


def test_reads_below_a_degraded_array_are_its_own(machine: CountedMachine) -> None:
    with watching(machine, Watch(carriers=(("md0",),), below=("sda", "sdb"))) as lookout:
        machine.count("md0", read=MIB)
        machine.count("sda", read=3 * MIB)
        assert lookout.look(own_bytes(MIB, MIB)) is None


@pytest.mark.parametrize("moved", [{"read": 64 * KIB}, {"written": 64 * KIB}])
def test_whatever_else_lies_on_the_drives_must_be_at_rest(
    machine: CountedMachine, moved: dict[str, int]
) -> None:
    with watching(machine, Watch(carriers=(("sda",),), others=("md0",))) as lookout:
        machine.count("md0", **moved)
        assert lookout.look(own_bytes(MIB, 0)) == "others use md0"


def test_a_neighbour_may_do_a_little(machine: CountedMachine) -> None:
    """It shares a link only, and a small read there takes nothing from either."""
    with watching(machine, Watch(carriers=(("sda",),), neighbours=("sdc",))) as lookout:
        machine.count("sdc", read=NEIGHBOUR_BYTES)
        assert lookout.look(AT_REST) is None
        machine.count("sdc", read=512)
        assert lookout.look(AT_REST) == "others use sdc"


@pytest.mark.parametrize("action", ["resync", "recover", "check", "repair", "reshape"])
def test_an_array_that_begins_to_synchronise_is_found(machine: CountedMachine, action: str) -> None:
    machine.synchronise("md0", "idle")
    with watching(machine, Watch(carriers=(("sda",),), arrays=("md0",))) as lookout:
        assert [lookout.look(AT_REST) for _ in range(3 * SYNC_EVERY)] == [None] * 3 * SYNC_EVERY
        machine.synchronise("md0", action)
        found = [lookout.look(AT_REST) for _ in range(SYNC_EVERY)]
    assert found[-1] == f"md0 is busy with a {action}"


def test_a_synchronising_array_is_left_out_of_the_matter_if_asked(
    machine: CountedMachine,
) -> None:
    machine.synchronise("md0", "check")
    watch = Watch(carriers=(("sda",),), arrays=("md0",))
    with watching(machine, watch, while_syncing=True) as lookout:
        assert not any(lookout.look(AT_REST) for _ in range(2 * SYNC_EVERY))


def test_a_device_that_goes_away_is_nobody_s_work(machine: CountedMachine) -> None:
    """What became of it the reads themselves will tell."""
    with watching(machine, Watch(carriers=(("sda", "sdb"),), others=("sdc",))) as lookout:
        machine.count("sda", read=MIB)
        machine.count("sdb", read=MIB)
        machine.remove("sda")
        machine.remove("sdc")
        assert lookout.look(own_bytes(2 * MIB, 2 * MIB)) is None


def test_counters_that_begin_anew_are_nobody_s_work(machine: CountedMachine) -> None:
    machine.count("sda", read=100 * MIB)
    with watching(machine) as lookout:
        machine.begin_anew("sda")
        assert lookout.look(AT_REST) is None


def test_a_device_that_was_never_there_is_nobody_s_work(machine: CountedMachine) -> None:
    with watching(machine, Watch(carriers=(("sdz",),), others=("sdy",))) as lookout:
        assert lookout.look(own_bytes(MIB, 0)) is None


def test_what_was_moved_before_a_burst_does_not_count_in_it(machine: CountedMachine) -> None:
    with watching(machine) as lookout:
        machine.count("sda", read=MIB, written=MIB)
        assert lookout.look(AT_REST)
        lookout.begin()
        assert lookout.look(AT_REST) is None


def test_quiet_for_waits_as_long_as_asked_and_finds_nobody(
    machine: CountedMachine, stop: StopToken
) -> None:
    with watching(machine) as lookout:
        began = time.monotonic()
        assert lookout.quiet_for(0.1, stop) is None
        assert 0.1 <= time.monotonic() - began < 0.3


def test_quiet_for_ends_as_soon_as_somebody_works(machine: CountedMachine, stop: StopToken) -> None:
    timer = threading.Timer(0.1, machine.count, ("sda", MIB))
    with watching(machine) as lookout:
        timer.start()
        began = time.monotonic()
        assert lookout.quiet_for(5, stop) == "others read from sda"
        assert time.monotonic() - began < 1
    timer.join()


def test_quiet_for_ends_when_told_to_stop(machine: CountedMachine, stop: StopToken) -> None:
    timer = threading.Timer(0.05, stop.set)
    with watching(machine) as lookout:
        timer.start()
        began = time.monotonic()
        assert lookout.quiet_for(5, stop) is None
        assert time.monotonic() - began < 1
    timer.join()


def test_an_array_that_synchronises_already_is_found_before_the_burst(
    machine: CountedMachine, stop: StopToken
) -> None:
    machine.synchronise("md0", "recover")
    with watching(machine, Watch(carriers=(("sda",),), arrays=("md0",))) as lookout:
        assert lookout.quiet_for(0.01, stop) == "md0 is busy with a recover"
