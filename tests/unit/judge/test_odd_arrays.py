"""Whatever the kernel shows of an array, a verdict comes out and nothing is claimed."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.values import ArrayState, Level, MemberState, SyncAction
from arraygauge.judge import Grounds, Protection, assess_array
from arraygauge.probe.plan import SamplingLimits, plan_array
from arraygauge.probe.values import Skipped
from arraygauge.tell.sentences import array_sentence, protection_phrase
from arraygauge.theory import BARE, SEQUENTIAL_WRITE, MemberRate, Source, expect_array
from invented import array, host, measured, member

MEMBERS = st.lists(
    st.builds(
        member,
        st.sampled_from(["sda", "sdb", "sdc", "sdd"]),
        st.none() | st.integers(-1, 6),
        present=st.booleans(),
        states=st.lists(st.sampled_from(MemberState), max_size=3).map(tuple),
        size_bytes=st.none() | st.integers(0, 2**40),
    ),
    max_size=5,
    unique_by=lambda each: each.name,
)


@given(
    level=st.sampled_from(Level),
    members=MEMBERS,
    slots=st.none() | st.integers(0, 7),
    layout=st.none() | st.integers(0, 2**18),
    chunk=st.none() | st.sampled_from([0, 512, 65536, 3 * 4096]),
    state=st.sampled_from(ArrayState),
    action=st.none() | st.sampled_from(SyncAction),
)
def test_no_array_breaks_the_judge(
    *,
    level: Level,
    members: list[object],
    slots: int | None,
    layout: int | None,
    chunk: int | None,
    state: ArrayState,
    action: SyncAction | None,
) -> None:
    odd = array(
        level,
        members,  # type: ignore[arg-type]
        raid_disks=slots,
        layout=layout,
        chunk_bytes=chunk,
        state=state,
        sync_action=action,
    )
    machine = host([odd])
    attempts = {each.name: measured(each.name, 1e8) for each in odd.members}
    verdict = assess_array(
        machine, odd, {**attempts, "md0": measured("md0", 2e8)}, Grounds(board=BARE)
    )
    assert array_sentence(verdict)
    assert protection_phrase(verdict.health, odd.level)
    plan_array(machine, odd, SamplingLimits())
    rate = MemberRate(read_bytes_per_second=1e8, write_bytes_per_second=1e8, source=Source.RATED)
    rates = {each.name: rate for each in odd.members}
    expect_array(machine, odd, rates, BARE, SEQUENTIAL_WRITE)


def test_an_unknown_layout_is_said_to_be_unknown_and_not_read() -> None:
    plain = array(Level.RAID10, [member(name, slot) for slot, name in enumerate("abcd")])
    odd = replace(plain, layout=0)
    machine = host([odd])
    verdict = assess_array(machine, odd, {"md0": measured("md0", 1e8)}, Grounds())
    assert verdict.health.protection is Protection.UNKNOWN
    assert isinstance(plan_array(machine, odd, SamplingLimits()), Skipped)
