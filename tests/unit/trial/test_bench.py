"""What a trial holds of its drives after trouble: nobody else's data is taken for its own."""

from __future__ import annotations

import errno
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from arraygauge.inventory.values import Level
from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.probe.trial.rates import Rate
from arraygauge.probe.trial.values import Examined, Mark, grant
from arraygauge.theory.plan import Option
from arraygauge.trial import bench, md
from arraygauge.trial.clearance import Cleared
from arraygauge.trial.drives import RefusedError
from arraygauge.trial.guarded import Warden
from arraygauge.trial.terms import Terms
from arraygauge.units import MIB
from invented import drive, host

NAMES = ("sda", "sdb")
STRIPE = Option(level=Level.RAID0, members=NAMES, chunk_bytes=64 * 1024)
MADE = md.Made(permit=grant(md.NAME, (9, 127)), size_bytes=2048 * MIB)


def cleared(name: str, *, strange_at: int | None = None) -> Cleared:
    examined = Examined(
        device=name, problem=None, size_bytes=1024 * MIB, strange_at=strange_at, places=1002
    )
    return Cleared(device=drive(name, size_bytes=1024 * MIB), examined=examined, written_bytes=100)


class Scene:
    """A bench over invented drives; the kernel and both children are stood in for."""

    def __init__(self, patch: pytest.MonkeyPatch, stop: StopToken) -> None:
        self.counted = dict.fromkeys(NAMES, 100)
        self.found = tuple(map(cleared, NAMES))
        self.refused: md.MakingError | None = None
        self.checked: list[Sequence[Cleared]] = []
        patch.setattr(bench, "written_to", lambda _: dict(self.counted))
        patch.setattr(bench, "clear_drives", lambda *_: self.found)
        patch.setattr(bench, "still_cleared", lambda _, members, __: self.checked.append(members))
        patch.setattr(bench, "write", lambda *_: self._fails())
        patch.setattr(md, "make", self._make)
        patch.setattr(md, "stop", lambda _: None)
        self.bench = bench.Bench(
            cleared=self.found,
            marks=(Mark(seed="00" * 16),),
            terms=Terms(),
            prober=Prober(stop),
            warden=cast(Warden, SimpleNamespace(ensure=lambda: None)),
            read_host=lambda: host([], [each.device for each in self.found]),
        )

    def _make(self, blueprint: md.Blueprint, check: Any) -> md.Made:
        self.blueprint = blueprint
        check()
        if self.refused is not None:
            raise self.refused
        return MADE

    def _fails(self) -> Rate:
        self.counted = dict.fromkeys(NAMES, 500)
        return Rate(centre=None, problem="writing failed", seconds=1.0, moved_bytes=400)


@pytest.fixture
def scene(monkeypatch: pytest.MonkeyPatch) -> Iterator[Scene]:
    stop = StopToken()
    yield Scene(monkeypatch, stop)
    stop.close()


def test_after_trouble_a_blank_drive_that_holds_data_of_nobody_known_is_refused(
    scene: Scene,
) -> None:
    scene.found = (cleared("sda"), cleared("sdb", strange_at=8192))
    with pytest.raises(RefusedError, match=r"sdb.*holds data, at byte 8192, that no trial wrote"):
        scene.bench.measure(STRIPE)


def test_after_trouble_drives_that_are_blank_but_for_the_trials_own_are_gone_on_with(
    scene: Scene,
) -> None:
    first = scene.bench.measure(STRIPE)
    assert first is not None
    assert first.trialled.problem == "writing failed"
    assert scene.bench.written == dict.fromkeys(NAMES, 400)
    scene.bench.measure(STRIPE)
    assert scene.checked[-1] == list(scene.found)


def test_an_array_that_was_never_made_leaves_the_count_that_tells_of_others(scene: Scene) -> None:
    """Somebody who takes a drive just then is what may have kept the kernel from making it."""
    scene.refused = md.MakingError(Path("/sys/x"), OSError(errno.EBUSY, ""))
    before = scene.found
    scene.found = tuple(replace(each, written_bytes=900) for each in before)
    kept = scene.bench.measure(STRIPE)
    assert kept is not None
    assert "the kernel did not build it" in (kept.trialled.problem or "")
    scene.bench.measure(STRIPE)
    assert scene.checked[-1] == list(before)


@pytest.mark.parametrize(("given", "made"), [(None, 2), (0, 0), (3, 3)])
def test_a_layout_is_made_as_it_is_meant(scene: Scene, given: int | None, made: int) -> None:
    """md counts left-asymmetric as 0, which is a layout and not none (md.rst)."""
    scene.bench.measure(replace(STRIPE, level=Level.RAID5, layout=given))
    assert scene.blueprint.layout == made
