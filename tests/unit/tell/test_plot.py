"""The small plot: points where they belong, the band beside them, the dates below."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from arraygauge.tell.plot import BAND, Point, plot

DAY = 86400.0


def is_dot(letter: str) -> bool:
    return 0x2800 < ord(letter) <= 0x28FF


def rows_with_dots(lines: list[str]) -> list[int]:
    return [row for row, line in enumerate(lines[:-1]) if any(map(is_dot, line))]


def test_nothing_is_drawn_of_nothing() -> None:
    assert plot([], 80, 10) == []


def test_a_falling_rate_goes_down_from_left_to_right() -> None:
    lines = plot([Point(at_seconds=i * DAY, rate=200e6 - i * 10e6) for i in range(11)], 60, 10)
    places = [
        (column, row)
        for row, line in enumerate(lines[:-1])
        for column, letter in enumerate(line)
        if is_dot(letter)
    ]
    assert len(places) >= 10
    assert sorted(places) == sorted(places, key=lambda place: (place[1], place[0]))


def test_the_band_is_shaded_between_the_points_and_only_there() -> None:
    points = [Point(at_seconds=i * DAY, rate=100e6, floor=180e6, ceiling=200e6) for i in range(3)]
    lines = plot(points, 60, 12)
    shaded = [row for row, line in enumerate(lines) if BAND in line]
    assert shaded
    assert max(shaded) < min(rows_with_dots(lines))
    assert all(set(lines[row].split("┤")[1]) == {BAND} for row in shaded)


def test_small_differences_are_not_magnified_from_nought() -> None:
    """Rates that differ by much are drawn from 0."""
    lines = plot([Point(at_seconds=0, rate=10e6), Point(at_seconds=DAY, rate=200e6)], 60, 10)
    assert "0.000 MB/s" in lines[9]


@given(
    st.lists(
        st.builds(
            Point,
            at_seconds=st.floats(0, 4e9),
            rate=st.floats(0, 1e11),
            floor=st.none() | st.floats(0, 1e11),
            ceiling=st.none() | st.floats(0, 1e11),
        ),
        min_size=1,
        max_size=50,
    ),
    st.integers(1, 200),
    st.integers(3, 40),
)
def test_whatever_was_measured_fits_its_frame(points: list[Point], width: int, height: int) -> None:
    lines = plot(points, width, height)
    assert len(lines) == height + 1
    assert len({len(line) for line in lines[:-1]}) == 1
    assert rows_with_dots(lines)
