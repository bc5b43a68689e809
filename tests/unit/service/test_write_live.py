"""Writing as a pass does it, on a real filesystem on a loop device."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from arraygauge.config.model import Configuration
from arraygauge.history import Ledger, open_history, system_clock
from arraygauge.inventory.values import Host, Mount
from arraygauge.probe.budget import BudgetLimits
from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import Attempt
from arraygauge.probe.writes.values import WriteAttempt, WriteMeasurement, WriteOutcome
from arraygauge.service.probing import Manner
from arraygauge.service.purse import Purse
from arraygauge.service.targets import choose_targets
from arraygauge.service.write_probing import WriteProbing, read_all_mounts
from invented import drive, host, measured
from unit.probe.real_filesystem import mounted_filesystem

MIB = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A loop device as if it were a drive, with a filesystem and a budget."""

    directory: Path
    mounts: tuple[Mount, ...]
    snapshot: Host
    purse: Purse

    @property
    def name(self) -> str:
        return self.snapshot.devices[0].name

    def write(self, **section: Any) -> WriteAttempt:
        keys = {
            "directories": [str(self.directory / "own")],
            "file_bytes": 16 * MIB,
            "burst_bytes": 64 * MIB,
        } | section
        read: dict[str, Attempt] = {self.name: measured(self.name, 1e9)}
        stop = StopToken()
        probing = WriteProbing(
            prober=Prober(stop),
            purse=self.purse,
            configuration=Configuration.model_validate({"write_probe": keys}),
            manner=Manner.ASKED,
        )
        targets = choose_targets(self.snapshot, ())
        found = probing.write_all(self.snapshot, self.mounts, targets, read, lambda *_: None)
        stop.close()
        [attempt] = found.values()
        return attempt

    @property
    def charged_bytes(self) -> int:
        return self.purse.ledger.written_since(f"invented-{self.name}", 3600)


@pytest.fixture
def scene(tmp_path: Path) -> Iterator[Scene]:
    with (
        mounted_filesystem("ext4", 200) as mounted,
        open_history(tmp_path / "history.sqlite") as history,
    ):
        mounts = read_all_mounts()
        mount = next(each for each in mounts if each.mount_point == str(mounted))
        name = os.path.basename(mount.source)
        clock = system_clock("one")
        yield Scene(
            directory=mounted,
            mounts=mounts,
            snapshot=host(drives=[drive(name, number=mount.device_number, mounts=(mount,))]),
            purse=Purse(Ledger(history, clock), BudgetLimits(), history, clock),
        )


def test_a_file_is_made_written_over_and_charged(scene: Scene) -> None:
    attempt = scene.write()
    assert isinstance(attempt, WriteMeasurement), attempt
    assert attempt.outcome is WriteOutcome.COMPLETED, attempt.detail
    assert attempt.bytes_written == 80 * MIB
    assert scene.charged_bytes == 80 * MIB
    assert [path.name for path in (scene.directory / "own").iterdir()] == [
        "arraygauge-probe-16MiB.random"
    ]


def test_the_file_goes_when_it_is_not_to_be_kept(scene: Scene) -> None:
    attempt = scene.write(keep_file=False)
    assert isinstance(attempt, WriteMeasurement), attempt
    assert attempt.usable, attempt.detail
    assert list((scene.directory / "own").iterdir()) == []


def test_somebody_who_reads_there_meanwhile_ends_it_and_what_was_written_is_charged(
    scene: Scene,
) -> None:
    work = scene.directory / "film"
    work.write_bytes(os.urandom(8 * MIB))
    os.sync()
    time.sleep(0.2)
    reader = threading.Timer(1.5, _read_from_the_device, (work,))
    reader.start()
    attempt = scene.write(burst_bytes="64 GiB", longest_seconds=20)
    reader.join()
    assert isinstance(attempt, WriteMeasurement), attempt
    assert attempt.outcome is WriteOutcome.GAVE_WAY
    assert f"others read from {scene.name}" in (attempt.detail or "")
    assert 16 * MIB < scene.charged_bytes == attempt.bytes_written


def _read_from_the_device(path: Path) -> None:
    with path.open("rb") as film:
        os.posix_fadvise(film.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        film.read()
