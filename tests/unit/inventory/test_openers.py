"""Who has a block device open, on real ones."""

from __future__ import annotations

import os
from pathlib import Path

from arraygauge.inventory.openers import read_openers
from unit.probe.loop_device import attached, random_file, require_loop_devices


def test_a_process_that_has_it_open_is_told_with_its_name(tmp_path: Path) -> None:
    require_loop_devices()
    with attached(random_file(tmp_path / "disk", 1)) as device:
        fd = os.open(device.node, os.O_RDONLY)
        try:
            found = read_openers({device.number})
        finally:
            os.close(fd)
    own = [each for each in found if each.process_id == os.getpid()]
    assert [each.number for each in own] == [device.number]
    assert own[0].command == Path("/proc/self/comm").read_text().strip()


def test_nobody_has_a_device_open_that_is_not_there() -> None:
    assert read_openers({(250, 12345)}) == ()
    assert read_openers(set()) == ()
