"""Charts: what is drawn, what is left out and said, and that nothing given gets in as markup."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from arraygauge.tell.charts.bars import MOST_BARS, member_bars
from arraygauge.tell.charts.curves import curve_chart
from arraygauge.tell.charts.forest import MOST_ROWS
from arraygauge.tell.charts.marks import MOST_MARKS
from arraygauge.tell.charts.series import time_chart
from arraygauge.tell.charts.thinning import MOST_POINTS, runs_of
from arraygauge.tell.charts.ticks import date_ticks, rate_scale
from arraygauge.tell.charts.topology import topology
from arraygauge.tell.charts.values import (
    Band,
    Bar,
    CurveChart,
    CurvePoint,
    Mark,
    MemberBars,
    Node,
    TimeChart,
    TimePoint,
    Topology,
)

HOSTILE = """</title></svg><script>alert(1)</script><img src=x onerror="a()">'&\u202e\x00"""
HOUR = 3600.0


def at(moment: float, rate: float | None) -> TimePoint:
    return TimePoint(
        at_seconds=moment,
        low_bytes_per_second=rate and rate * 0.98,
        bytes_per_second=rate,
        high_bytes_per_second=rate and rate * 1.02,
    )


def expected(point: TimePoint, floor: float, ceiling: float) -> TimePoint:
    band = Band(floor_bytes_per_second=floor, ceiling_bytes_per_second=ceiling)
    return replace(point, expected=band)


def over_time(*points: TimePoint, **changes: object) -> TimeChart:
    plain = TimeChart(
        title="md0",
        description="as expected",
        unit_word="MB/s",
        start_seconds=0.0,
        end_seconds=1000 * HOUR,
        points=points,
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def node(key: str, parent: str | None, **changes: object) -> Node:
    plain = Node(key=key, parent_key=parent, kind_word="drive", name=key)
    return replace(plain, **changes)  # type: ignore[arg-type]


def words(svg: str) -> str:
    return " ".join("".join(each.itertext()) for each in ElementTree.fromstring(svg).iter())


HOSTILE_CHARTS: dict[str, Callable[[], str]] = {
    "series": lambda: time_chart(
        over_time(
            at(0, 1e8),
            title=HOSTILE,
            description=HOSTILE,
            unit_word=HOSTILE,
            marks=(Mark(at_seconds=0, until_seconds=None, severity_word=HOSTILE, label=HOSTILE),),
        )
    ),
    "bars": lambda: member_bars(
        MemberBars(
            title=HOSTILE,
            description=HOSTILE,
            bars=(Bar(name=HOSTILE, bytes_per_second=1e8, odd=True, note=HOSTILE),),
        )
    ),
    "curve": lambda: curve_chart(
        CurveChart(
            title=HOSTILE,
            description=HOSTILE,
            measured=(CurvePoint(transfer_bytes=4096, bytes_per_second=1e8),),
        )
    ),
    "topology": lambda: topology(
        Topology(
            title=HOSTILE,
            description=HOSTILE,
            nodes=(
                node("a", None, name=HOSTILE, kind_word=HOSTILE),
                node("b", "a", name=HOSTILE, note=HOSTILE, wall=True),
            ),
        )
    ),
}


@pytest.mark.parametrize("draw", HOSTILE_CHARTS.values(), ids=HOSTILE_CHARTS)
def test_what_is_given_stays_text(draw: Callable[[], str]) -> None:
    tree = ElementTree.fromstring(draw())
    allowed = {"svg", "title", "desc", "text", "tspan", "path", "line", "rect"}
    assert {each.tag.rpartition("}")[2] for each in tree.iter()} <= allowed
    for each in tree.iter():
        assert not [key for key in each.attrib if key.startswith("on") or key in ("style", "id")]
    assert "\u202e" not in draw()
    assert "alert(1)" in words(draw())


@pytest.mark.parametrize("draw", HOSTILE_CHARTS.values(), ids=HOSTILE_CHARTS)
def test_each_is_one_image_with_a_name_and_a_description(draw: Callable[[], str]) -> None:
    tree = ElementTree.fromstring(draw())
    assert tree.attrib["role"] == "img"
    assert [each.tag.rpartition("}")[2] for each in list(tree)[:2]] == ["title", "desc"]


class TestASeries:
    def test_is_broken_where_nothing_was_measured_for_long(self) -> None:
        before, after = range(20), range(60, 80)
        runs = runs_of([at(hour * HOUR, 1e8) for hour in (*before, *after)])
        assert [len(run) for run in runs] == [20, 20]

    def test_is_broken_where_a_measurement_gave_no_rate(self) -> None:
        runs = runs_of([at(hour * HOUR, None if hour == 5 else 1e8) for hour in range(10)])
        assert [len(run) for run in runs] == [5, 4]

    def test_days_before_hours_are_no_gap(self) -> None:
        days = [at(day * 24 * HOUR, 1e8) for day in range(30)]
        hours = [at((29 * 24 + hour) * HOUR, 1e8) for hour in range(1, 48)]
        assert len(runs_of([*days, *hours])) == 1

    def test_of_many_points_few_are_drawn_and_the_extremes_among_them(self) -> None:
        rates = [1e8 + (index * 7919 % 1000) * 1e3 for index in range(20_000)]
        rates[777], rates[15_000] = 1.0, 9e9
        runs = runs_of([at(index * 60.0, rate) for index, rate in enumerate(rates)])
        kept = [point.bytes_per_second for run in runs for point in run]
        assert len(kept) <= MOST_POINTS
        assert {1.0, 9e9} <= set(kept)

    def test_one_measurement_is_a_dot_and_none_is_said(self) -> None:
        assert re.search(r'd="M(\S+ \S+)L\1"', time_chart(over_time(at(HOUR, 1e8))))
        assert "not measured in this time" in words(time_chart(over_time()))

    def test_tells_what_was_expected_last_in_its_legend(self) -> None:
        points = (expected(at(HOUR, 1e8), 90e6, 90e6), expected(at(2 * HOUR, 1e8), 160e6, 180e6))
        assert "expected then, last 160 to 180 MB/s" in words(time_chart(over_time(*points)))
        assert "expected then" not in words(time_chart(over_time(at(HOUR, 1e8))))

    def test_what_was_expected_is_a_step_where_it_changed_and_absent_where_it_was_not(self) -> None:
        healthy = [expected(at(hour * HOUR, 2e8), 190e6, 210e6) for hour in range(100)]
        degraded = [expected(at(hour * HOUR, 1e8), 90e6, 110e6) for hour in range(100, 200)]
        unknown = [at(hour * HOUR, 1e8) for hour in range(200, 300)]
        svg = time_chart(over_time(*healthy, *degraded, *unknown))
        (area,) = re.findall(r'd="M([^"]+)z" class="chart-band"', svg)
        places = [tuple(map(float, each.split())) for each in area.split("L")]
        assert sorted({x for x, _ in places}) == [0.0, 99.5, 199.0]
        assert len({y for _, y in places}) == 4

    def test_a_single_measurement_has_its_expectation_behind_it(self) -> None:
        svg = time_chart(over_time(expected(at(500 * HOUR, 1e8), 90e6, 110e6)))
        assert re.search(r'd="M495 \S+L505 ', svg)

    def test_incidents_have_a_shape_a_word_and_their_text(self) -> None:
        mark = Mark(at_seconds=HOUR, until_seconds=None, severity_word="major", label="sdb is slow")
        said = words(time_chart(over_time(at(HOUR, 1e8), marks=(mark,))))
        assert "major: sdb is slow" in said
        assert "not over" in said
        assert "major incident" in said

    def test_of_ten_thousand_incidents_the_worst_are_drawn_and_the_rest_counted(self) -> None:
        minor = [
            Mark(at_seconds=i * 360.0, until_seconds=i * 360.0, severity_word="minor", label="m")
            for i in range(9_999)
        ]
        worst = Mark(at_seconds=9e5, until_seconds=None, severity_word="critical", label="the one")
        svg = time_chart(over_time(at(HOUR, 1e8), marks=(*minor, worst)))
        assert svg.count("chart-mark-span") <= MOST_MARKS
        assert "critical: the one" in words(svg)
        assert re.search(r"99\d\d more incidents", words(svg))
        assert len(svg) < 30_000

    def test_what_lies_outside_its_time_is_left_out(self) -> None:
        outside = Mark(at_seconds=-9 * HOUR, until_seconds=-HOUR, severity_word="major", label="x")
        svg = time_chart(over_time(at(-HOUR, 1e8), at(HOUR, 2e8), marks=(outside,)))
        assert "chart-mark" not in svg


class TestAxes:
    def test_rates_have_round_numbers_around_them(self) -> None:
        scale = rate_scale([171e6, 183e6], from_zero=False)
        assert scale.low <= 171e6
        assert scale.high >= 183e6
        assert all(tick % 1e6 == 0 for tick in scale.ticks)

    def test_a_small_change_does_not_fill_the_picture(self) -> None:
        scale = rate_scale([99e6, 100e6], from_zero=False)
        assert scale.high - scale.low >= 20e6

    def test_rates_far_apart_begin_at_nought(self) -> None:
        assert rate_scale([1e6, 100e6], from_zero=False).low == 0

    @pytest.mark.parametrize("days", [0.01, 0.3, 1, 3, 10, 31, 90, 365, 4000])
    def test_dates_are_few_in_order_and_inside(self, days: float) -> None:
        start, end = 1_790_000_000.0, 1_790_000_000.0 + days * 24 * HOUR
        moments = [tick.at_seconds for tick in date_ticks(start, end)]
        assert 1 <= len(moments) <= 8
        assert moments == sorted(set(moments))
        assert start <= moments[0] <= moments[-1] <= end


class TestBars:
    def test_the_odd_one_is_told_in_a_word_and_a_pattern(self) -> None:
        bars = (
            Bar(name="sda", bytes_per_second=1e8),
            Bar(name="sdb", bytes_per_second=5e7, odd=True, note="50% of what is expected"),
        )
        svg = member_bars(MemberBars(title="m", description="d", bars=bars))
        assert svg.count('class="chart-bar-odd"') == 1
        assert "50% of what is expected" in words(svg)
        assert re.search(r">odd<", svg)

    def test_one_without_a_rate_has_no_bar(self) -> None:
        svg = member_bars(
            MemberBars(title="m", description="d", bars=(Bar(name="sda", bytes_per_second=None),))
        )
        assert "chart-bar" not in svg
        assert "not measured" in words(svg)

    def test_of_two_hundred_the_odd_ones_are_drawn_and_the_rest_counted(self) -> None:
        bars = tuple(Bar(name=f"sd{i}", bytes_per_second=1e8 + i, odd=i == 177) for i in range(200))
        svg = member_bars(MemberBars(title="m", description="d", bars=bars))
        assert svg.count('class="chart-bar') == MOST_BARS
        assert "sd177" in words(svg)
        assert f"not drawn: {200 - MOST_BARS} more" in words(svg)


class TestACurve:
    def test_measured_and_predicted_differ_in_more_than_colour(self) -> None:
        points = tuple(
            CurvePoint(transfer_bytes=4096 << i, bytes_per_second=1e8 + i) for i in range(9)
        )
        svg = curve_chart(
            CurveChart(title="c", description="d", measured=points, predicted=points[:5])
        )
        assert svg.count('class="chart-point"') == 9 + 1  # and the legend's
        assert svg.count('class="chart-predicted-point"') == 5 + 1
        assert "4 KiB" in words(svg) or "16 KiB" in words(svg)
        assert "1 MiB" in words(svg)

    def test_nothing_measured_is_said(self) -> None:
        assert "not measured" in words(
            curve_chart(CurveChart(title="c", description="d", measured=()))
        )


class TestATopology:
    def machine(self, drives: int) -> Iterator[Node]:
        yield node("cpu", None, kind_word="processor", name="processor")
        wall = {"capacity_bytes_per_second": 3e9, "used_share": 1.0, "wall": True}
        yield node("up", "cpu", kind_word="uplink", **wall)
        for index in range(drives):
            yield node(f"p{index}", "up", capacity_bytes_per_second=6e8, used_share=0.5)
            yield node(f"d{index}", f"p{index}", capacity_bytes_per_second=3e8)

    def draw(self, *nodes: Node) -> str:
        return topology(Topology(title="t", description="d", nodes=nodes))

    def test_links_are_as_wide_as_what_they_carry_and_filled_by_their_use(self) -> None:
        svg = self.draw(*self.machine(2))
        pipes = [float(w) for w in re.findall(r'class="chart-pipe" stroke-width="([\d.]+)"', svg)]
        used = [float(w) for w in re.findall(r'"chart-pipe-used" stroke-width="([\d.]+)"', svg)]
        assert max(pipes) / sorted(pipes)[-2] == pytest.approx(5.0, rel=0.02)
        assert used[0] / sorted(pipes)[-2] == pytest.approx(0.5, rel=0.02)

    def test_the_wall_is_told_in_a_word_and_a_pattern(self) -> None:
        svg = self.draw(*self.machine(2))
        assert svg.count('class="chart-pipe-wall"') == 1
        assert "the wall" in words(svg)

    def test_of_many_drives_few_are_drawn_and_the_rest_counted(self) -> None:
        svg = self.draw(*self.machine(200))
        assert svg.count('class="chart-strong"') <= MOST_ROWS
        assert re.search(r"and 1\d\d more like these", words(svg))

    def test_a_circle_of_parents_and_a_missing_one_stand_at_the_root(self) -> None:
        svg = self.draw(node("a", "b"), node("b", "a"), node("c", "nowhere"))
        assert all(f"drive {key}" in words(svg) for key in "abc")

    def test_what_is_not_known_is_said(self) -> None:
        svg = self.draw(node("cpu", None), node("a", "cpu"))
        assert "capacity not known" in words(svg)
        assert "chart-pipe-unknown" in svg

    def test_what_stands_below_a_name_keeps_clear_of_its_links(self) -> None:
        svg = self.draw(*self.machine(8))
        tracks = [float(x) for x in re.findall(r'd="M([\d.]+) ', svg)]
        [note] = re.findall(r'x="([\d.]+)" y="[\d.]+" class="chart-text chart-muted">3000 MB', svg)
        below = [x for x in tracks if x < 100 and x != min(tracks)]
        assert float(note) > max(sorted(below)[:8])
