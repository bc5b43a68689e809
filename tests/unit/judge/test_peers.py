"""What a drive's peers do, held against the definition written down plainly."""

from __future__ import annotations

from collections.abc import Mapping
from statistics import median_high

from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.values import Host, Level, MemberState
from arraygauge.judge import peer_references
from arraygauge.judge.arrays import member_rates
from arraygauge.judge.peers import reference_rates
from arraygauge.probe.values import Attempt, Skipped, SkipReason
from invented import array, drive, host, measured, member

NAMES = ("sda", "sdb", "sdc", "sdd", "sde", "sdf")
MODELS = st.sampled_from((None, "oak", "elm"))
RATES = st.integers(1, 5).map(lambda tens: tens * 10e6)
"""Few values, so that some are the same."""


def plain_reference(host: Host, rates: Mapping[str, float], name: str) -> float:
    """The upper median of all rates of its model, its own included, if there are two of that
    model; else of all."""

    def model(each: str) -> str | None:
        device = host.device(each)
        body = host.device(device.disk) if device and device.disk else device
        return body.model if body else None

    alike = [rates[each] for each in rates if model(each) == model(name) is not None]
    return median_high(alike if len(alike) >= 2 else list(rates.values()))


def plain_peer_reference(host: Host, attempts: Mapping[str, Attempt], name: str) -> float | None:
    """By the first array that lists it, among the members that do its job."""
    holding = (one for one in host.arrays if name in {member.name for member in one.members})
    if (own := next(holding, None)) is None:
        return None
    for role in (False, True):
        rates = member_rates(own, attempts, write_mostly=role)
        if name in rates:
            return plain_reference(host, rates, name) if len(rates) > 1 else None
    return None


@given(rates=st.dictionaries(st.sampled_from(NAMES), RATES), models=st.lists(MODELS, min_size=6))
def test_each_device_is_held_to_the_better_half_of_its_model(
    rates: dict[str, float], models: list[str | None]
) -> None:
    """Some are parts of others, and so of their model; of the last two nothing is known."""
    drives = [
        drive(name, model=model, disk=disk)
        for name, model, disk in zip(
            NAMES[:4], models, (None, None, "sda", "not there"), strict=False
        )
    ]
    there = host([], drives)
    assert reference_rates(there, rates) == {
        name: plain_reference(there, rates, name) for name in rates
    }


STATES = st.sampled_from(
    (
        (MemberState.IN_SYNC,),
        (MemberState.IN_SYNC, MemberState.WRITE_MOSTLY),
        (MemberState.SPARE,),
    )
)


@given(
    held=st.lists(st.dictionaries(st.sampled_from(NAMES), STATES), min_size=1, max_size=3),
    rates=st.dictionaries(st.sampled_from(NAMES), RATES),
    unusable=st.sets(st.sampled_from(NAMES)),
    models=st.lists(MODELS, min_size=6),
)
def test_of_a_pass_each_member_gets_the_reference_of_its_own_array(
    held: list[dict[str, tuple[MemberState, ...]]],
    rates: dict[str, float],
    unusable: set[str],
    models: list[str | None],
) -> None:
    arrays = [
        array(
            Level.RAID1,
            [
                member(name, slot, states=states)
                for slot, (name, states) in enumerate(members.items())
            ],
            name=f"md{number}",
        )
        for number, members in enumerate(held)
    ]
    drives = [drive(name, model=model) for name, model in zip(NAMES, models, strict=False)]
    there = host(arrays, drives)
    attempts: dict[str, Attempt] = {name: measured(name, rate) for name, rate in rates.items()} | {
        name: Skipped(device=name, reason=SkipReason.STOPPED, detail="invented")
        for name in unusable
    }
    plain = {name: plain_peer_reference(there, attempts, name) for name in NAMES}
    assert peer_references(there, attempts) == {
        name: rate for name, rate in plain.items() if rate is not None
    }
