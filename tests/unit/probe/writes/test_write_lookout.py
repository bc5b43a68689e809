"""Others' work is told from the probe's own writes by what it says it has begun."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from arraygauge.probe.watch import Watch
from arraygauge.probe.writes.lookout import WriteLookout
from unit.probe.counted_machine import CountedMachine

MIB = 1 << 20
WATCH = Watch(
    carriers=(("md0",), ("sda", "sdb")), others=("md1",), neighbours=("sdc",), arrays=("md0",)
)


class Scene:
    """An array that is written to by the probe, and what it counts."""

    def __init__(self, root: Path) -> None:
        self.counted = CountedMachine(root, "md0", "md1", "sda", "sdb", "sdc")
        self.counted.synchronise("md0", "idle")
        self.lookout = WriteLookout(WATCH, tree=self.counted.tree)
        self.lookout.begin()

    def look(self, begun: int, done: int) -> str | None:
        return self.lookout.look(lambda: (begun, done))


@pytest.fixture
def scene(tmp_path: Path) -> Iterator[Scene]:
    made = Scene(tmp_path)
    with made.lookout:
        yield made


def test_own_writes_and_the_filesystem_s_housekeeping_are_nobody_s_work(scene: Scene) -> None:
    for step in range(1, 300):
        scene.counted.count("md0", written=MIB + MIB // 100)
        scene.counted.count("sda", read=MIB, written=2 * MIB)
        scene.counted.count("sdb", read=MIB, written=2 * MIB)
        assert scene.look((step + 8) * MIB, step * MIB) is None


def test_a_reader_is_noticed_at_once(scene: Scene) -> None:
    scene.counted.count("md0", read=64 * 1024, written=20 * MIB)
    assert scene.look(28 * MIB, 20 * MIB) == "others read from md0"


def test_a_writer_is_noticed_once_it_wrote_more_than_is_in_flight_and_housekeeping(
    scene: Scene,
) -> None:
    """20 MiB done and 8 in flight allow 28 + 28/64 + 1 MiB; the next MiB is not the probe's."""
    scene.counted.count("md0", written=29 * MIB)
    assert scene.look(28 * MIB, 20 * MIB) is None
    scene.counted.count("md0", written=MIB)
    assert scene.look(28 * MIB, 20 * MIB) == "others write to md0"


def test_who_uses_what_lies_beside_is_noticed(scene: Scene) -> None:
    scene.counted.count("md1", written=64 * 1024)
    assert scene.look(MIB, 0) == "others use md1"


def test_a_resync_that_begins_ends_the_burst(scene: Scene) -> None:
    scene.counted.synchronise("md0", "resync")
    assert "md0 is busy with a resync" in [scene.look(MIB, 0) for _ in range(8)]
