"""What the tests of the probe share: requests, files of random data, loop devices."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from unit.probe.loop_device import LoopDevice, attached, random_file, require_loop_devices


@pytest.fixture
def stop() -> Iterator[StopToken]:
    token = StopToken()
    yield token
    token.close()


@pytest.fixture
def prober(stop: StopToken) -> Prober:
    return Prober(stop)


@pytest.fixture(scope="session")
def random_backing(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """64 MiB of random data on the machine's own disk."""
    return random_file(tmp_path_factory.mktemp("backing") / "random", 64)


@pytest.fixture
def loop(random_backing: Path) -> Iterator[LoopDevice]:
    """A block device that holds 64 MiB of random data."""
    require_loop_devices()
    with attached(random_backing) as device:
        yield device


@pytest.fixture
def endless(tmp_path: Path) -> Iterator[LoopDevice]:
    """A block device that no burst gets to the end of: 1 TiB, all of it hole."""
    require_loop_devices()
    backing = tmp_path / "endless"
    backing.touch()
    os.truncate(backing, 1 << 40)
    with attached(backing) as device:
        yield device
