"""A plan as a person reads it, and as a script does."""

from __future__ import annotations

import json
import re
from io import StringIO

import pytest
from rich.console import Console

from arraygauge.inventory.values import Level
from arraygauge.tell.cautions import NO_BACKUP, ONE_LEFT, ONLY_DRIVES, STRIPES, cautions_for_levels
from arraygauge.tell.plan import SHORT_LIST, PlanTelling, print_plan
from arraygauge.tell.plan_json import PLAN_FORMAT, plan_json
from arraygauge.tell.plan_plot import plot_of
from arraygauge.tell.plan_words import asked_phrase, rough_duration
from arraygauge.theory import Direction, Workload
from arraygauge.theory.plan import Asked, Plan, Scope, Supply, make_plan
from arraygauge.theory.plan_changes import what_ifs
from unit.theory.planned_drives import DRIVE, behind_one, free

DEEP = Asked(
    read=Workload(direction=Direction.READ, queue_depth=64),
    write=Workload(direction=Direction.WRITE, queue_depth=64),
)


ROW = re.compile(r"[▸ ] raid\d+( \w+ \d)? +\d+ ")


def planned(supply: Supply, scope: Scope | None = None) -> Plan:
    return make_plan(supply, DEEP, scope)


def told(telling: PlanTelling, *, everything: bool = False, width: int = 100) -> str:
    stream = StringIO()
    print_plan(Console(file=stream, width=width, highlight=False), telling, everything=everything)
    return stream.getvalue()


@pytest.mark.parametrize("disk", [True, False])
@pytest.mark.parametrize("count", [2, 8, 24])
def test_it_fits_a_terminal_of_100_columns_and_cuts_nothing(count: int, disk: bool) -> None:
    plan = planned(behind_one(count, 5 * DRIVE, disk=disk), Scope(chunks=(65536, 524288)))
    first = plan.best[0]
    telling = PlanTelling(plan=plan, what_ifs=what_ifs(plan.supply, first.option, DEEP))
    text = told(telling)
    assert all(len(line) <= 100 for line in text.splitlines())
    table = text[text.index("  level") : text.index("survives: for certain")]
    assert "…" not in table


def test_a_narrow_terminal_has_fewer_columns_and_cuts_nothing_either() -> None:
    plan = planned(behind_one(8, 5 * DRIVE, disk=True), Scope(chunks=(65536,)))
    text = told(PlanTelling(plan=plan), width=80)
    table = text[text.index("  level") : text.index("survives: for certain")]
    assert "…" not in table
    assert "rebuild" not in table.splitlines()[0]


def test_it_is_short_unless_everything_is_asked_for() -> None:
    plan = planned(behind_one(12, 5 * DRIVE, disk=True))
    telling = PlanTelling(plan=plan)
    hidden = len(plan.others)
    assert f"{hidden} that others beat: --all shows them" in told(telling)
    assert len(told(telling).splitlines()) < 70
    everything = told(telling, everything=True)
    rows = [line for line in everything.splitlines() if ROW.match(line)]
    assert len(rows) == len(plan.options)


def test_each_level_has_a_row_in_the_short_list() -> None:
    plan = planned(behind_one(12, 5 * DRIVE, disk=True))
    assert len(plan.best) > SHORT_LIST
    text = told(PlanTelling(plan=plan))
    for name in {each.option.name for each in plan.options}:
        assert any(line[2:].startswith(f"{name} ") for line in text.splitlines()), name


def test_where_another_drive_brings_nothing_is_marked_and_said() -> None:
    plan = planned(behind_one(6, 3 * DRIVE), Scope(levels=(Level.RAID0,)))
    text = told(PlanTelling(plan=plan))
    assert "no speed†" in text
    assert "† the next drive would bring no speed and no safety, at most room" in text
    assert "No reading speed from more drives: raid0 with 3." in text


def test_where_each_drive_brings_something_nothing_is_marked() -> None:
    text = told(PlanTelling(plan=planned(free(4), Scope(levels=(Level.RAID0,)))))
    assert "†" not in text
    assert "No reading speed" not in text


def test_each_figure_says_where_it_comes_from() -> None:
    supply = behind_one(4, 3 * DRIVE)
    telling = PlanTelling(
        plan=planned(supply),
        known_by={"d1": "measured before, 30 times"},
        left_out=(("sda", "carries /; name it to have it in"),),
        supposed=("uplink carries 300 MB/s",),
    )
    text = " ".join(told(telling).split())
    assert "reads 100 MB/s (measured before, 30 times), writes 100 MB/s (rated)" in text
    assert "0.1 ms a transfer (assumed)" in text
    assert "uplink: 300 MB/s both ways at once (declared), shared by 4" in text
    assert "parity arithmetic: rate not given, taken not to bind" in text
    assert "left out: sda, carries /" in text
    assert "supposed: uplink carries 300 MB/s" in text


def test_too_few_drives_are_told_so() -> None:
    assert "the fewest are two drives" in told(PlanTelling(plan=planned(free(1))))


# The plot.


def marks(lines: list[str], mark: str) -> dict[int, int]:
    """The row of a mark by its column."""
    return {
        line.index(mark, at): row
        for row, line in enumerate(lines)
        for at in range(len(line))
        if line.find(mark, at) == at
    }


def test_the_curve_rises_to_the_wall_and_stays_there() -> None:
    plan = planned(behind_one(8, 4 * DRIVE), Scope(levels=(Level.RAID0,)))
    lines = plot_of(plan, 90, 12)[:12]
    heights = [row for _, row in sorted(marks([x.split("┤")[1] for x in lines], "0").items())]
    assert len(heights) == 7
    assert heights[0] > heights[1] > heights[2] == heights[-1]
    assert "─" in lines[heights[-1]]
    assert lines[heights[-1]].endswith("uplink")


def test_no_wall_is_drawn_where_the_drives_do_not_reach_it() -> None:
    plan = planned(behind_one(4, 100 * DRIVE), Scope(levels=(Level.RAID0,)))
    assert "─" not in "".join(plot_of(plan, 90, 12))


def test_a_single_number_of_drives_has_no_plot() -> None:
    assert plot_of(planned(free(4), Scope(widths=(4,))), 90, 12) == []


# Words.


def test_work_alike_both_ways_is_said_once() -> None:
    assert asked_phrase(DEEP) == "sequential read and write of 1 MiB, 64 in flight"


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(30, "30 s"), (600, "10 min"), (7200, "2.0 h"), (78125, "22 h"), (86400 * 3.14, "3.1 d")],
)
def test_rough_durations(seconds: float, words: str) -> None:
    assert rough_duration(seconds) == words


def test_cautions_go_by_what_is_listed() -> None:
    assert cautions_for_levels([Level.RAID0]) == (NO_BACKUP, STRIPES)
    assert STRIPES not in cautions_for_levels([Level.RAID6])
    assert ONLY_DRIVES in cautions_for_levels([Level.RAID6])
    assert ONE_LEFT not in cautions_for_levels([Level.RAID6])
    assert ONE_LEFT in cautions_for_levels([Level.RAID5])


def test_every_plan_says_that_an_array_is_no_backup() -> None:
    assert "Only a copy elsewhere is a backup" in " ".join(
        told(PlanTelling(plan=planned(free(3)))).split()
    )


# For scripts.


def test_the_document_has_every_option_the_best_first_in_base_units() -> None:
    plan = planned(behind_one(4, 3 * DRIVE))
    found = what_ifs(plan.supply, plan.best[0].option, DEEP)
    document = json.loads(plan_json(PlanTelling(plan=plan, what_ifs=found)))
    assert document["format"] == PLAN_FORMAT
    assert len(document["best"]) + len(document["others"]) == len(plan.options)
    first, prediction = document["best"][0], plan.best[0].prediction
    assert first["level"] == prediction.option.level
    assert first["usable_bytes"] == prediction.capacity.usable_bytes
    assert first["read"]["ceiling_bytes_per_second"] == prediction.read.ceiling_bytes_per_second
    assert first["read"]["bottleneck"] == "uplink"
    assert document["parity_bytes_per_second"] is None
    assert [each["change"] for each in document["what_if"]] == [each.change for each in found]
    stripes = [each for each in document["best"] if each["level"] == "raid0"]
    assert all(each["rebuild_fastest"] is None for each in stripes)
