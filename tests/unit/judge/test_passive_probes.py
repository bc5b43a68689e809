"""The agent's own probes are no load to judge a member by."""

from __future__ import annotations

from arraygauge.judge.passive import PassiveWatch, watch_array
from unit.judge.passive_machine import KIB, Load, Machine, flash, hot, moments, name_of, streaming
from unit.judge.passive_scenarios import accusations, peers

PROBED = name_of(3)


def fold(machine: Machine, *, own: frozenset[str]) -> PassiveWatch:
    """Two minutes of work, of which the last is beside reads of one member only."""
    machine.bear(Load(4, streaming(256 * KIB), 0.01))
    watch = watch_array((peers(),)).with_readings(0.0, machine.readings())
    for moment in moments(0, 120):
        machine.run(moment)
        watch = watch.with_readings(moment, machine.readings(), own if moment > 60 else frozenset())
        assert not accusations(watch.seen)
        if moment == 60:
            machine.bear(Load(4, streaming(256 * KIB), 0.01), Load(8, hot(3, 1024 * KIB)))
    return watch


def test_a_member_is_not_looked_at_while_a_probe_reads_it() -> None:
    seen = fold(Machine(flash(6), 1), own=frozenset({PROBED}))
    [group] = seen.groups
    assert group.looks[PROBED].moment <= 60
    assert all(group.looks[name_of(slot)].moment > 110 for slot in range(6) if slot != 3)


def test_without_being_told_it_takes_the_probe_for_work() -> None:
    """So the test above would fail if probes were not taken out."""
    seen = fold(Machine(flash(6), 1), own=frozenset())
    assert seen.groups[0].looks[PROBED].moment > 110
