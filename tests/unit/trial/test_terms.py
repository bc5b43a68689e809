"""Where options are written and read, and the most that takes of each drive."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory.values import Level
from arraygauge.theory.plan import Option
from arraygauge.trial.terms import (
    Filled,
    Terms,
    fractions,
    most_written,
    read_work,
    stripe_bytes,
    write_work,
)
from arraygauge.units import KIB, MIB

options = st.builds(
    lambda level, width, chunk: Option(
        level=level, members=tuple(f"d{n}" for n in range(width)), chunk_bytes=chunk * KIB
    ),
    st.sampled_from([Level.RAID0, Level.RAID10, Level.RAID5, Level.RAID6]),
    st.integers(4, 8),
    st.sampled_from([32, 64, 128, 256, 512, 1024]),
)
SEED = "seed"


def array_bytes(option: Option, component: int) -> int:
    if option.level is Level.RAID0:
        return component * option.width
    if option.level is Level.RAID10:
        return component * option.width // 2
    return component * (option.width - (1 if option.level is Level.RAID5 else 2))


@given(options, st.integers(1, 12), st.integers(256, 4096))
def test_writes_begin_at_whole_rows_lie_on_the_array_and_apart(
    option: Option, places: int, component_mib: int
) -> None:
    size = array_bytes(option, component_mib * MIB)
    work = write_work(Terms(places=places), option, size, SEED)
    assert len(work.extents) == places
    ends = [each.start_bytes + each.length_bytes for each in work.extents]
    starts = [each.start_bytes for each in work.extents]
    assert all(start % stripe_bytes(option) == 0 and start % MIB == 0 for start in starts)
    assert all(end <= start for end, start in zip(ends, starts[1:], strict=False))
    assert ends[-1] <= size
    assert all(each.length_bytes > 0 for each in work.extents)


@given(options, st.integers(256, 4096), st.integers(16, 40))
def test_reads_stay_within_what_every_member_was_filled_with(
    option: Option, component_mib: int, filled_mib: int
) -> None:
    component = component_mib * MIB
    size = array_bytes(option, component)
    alone = Option(level=Level.RAID0, members=("d0",), chunk_bytes=512 * KIB)
    terms = Terms()
    starts = [each.start_bytes for each in write_work(terms, alone, component, SEED).extents]
    filled = [Filled(start_bytes=start, length_bytes=filled_mib * MIB) for start in starts]
    work = read_work(
        terms,
        option,
        size,
        SEED,
        filled=[filled] * option.width,
        component_bytes=component,
        written=[Filled(start_bytes=0, length_bytes=0)] * terms.places,
    )
    assert work.extents
    for extent in work.extents:
        first = Fraction(extent.start_bytes * component, size)
        last = Fraction((extent.start_bytes + extent.length_bytes) * component, size)
        # A row may begin a chunk before the share of the way that its first byte is at.
        chunk = option.chunk_bytes or 0
        assert any(
            each.start_bytes - chunk <= first and last <= each.start_bytes + each.length_bytes
            for each in filled
        )


def test_the_places_are_the_same_for_all_options_and_spread_over_the_whole() -> None:
    found = fractions(SEED, 6)
    assert found == fractions(SEED, 6)
    assert found != fractions("another", 6)
    assert all(Fraction(at, 6) <= each < Fraction(at + 1, 6) for at, each in enumerate(found))


def test_what_a_member_takes_at_most_counts_copies_and_parity() -> None:
    """Shares by arithmetic: of 1200 MB a stripe of 4 gives each a quarter, a mirror each all, two
    copies on 4 each half, and parity that is rewritten with each piece doubles or trebles it."""
    terms = Terms(most_bytes=1_200_000_000)

    def of(level: Level, width: int, layout: int | None = None) -> int:
        members = tuple(f"d{n}" for n in range(width))
        option = Option(level=level, members=members, chunk_bytes=64 * KIB, layout=layout)
        return most_written(terms, option, 10**10)

    assert of(Level.RAID0, 4) == 300_000_000
    assert of(Level.RAID1, 2) == 1_200_000_000
    assert of(Level.RAID10, 4, 258) == 600_000_000
    assert of(Level.RAID5, 4) == 600_000_000
    assert of(Level.RAID6, 4) == 900_000_000


def test_no_more_is_written_than_there_is_room_for() -> None:
    option = Option(level=Level.RAID0, members=("d0", "d1"), chunk_bytes=64 * KIB)
    assert most_written(Terms(), option, 100 * MIB) == 100 * MIB
