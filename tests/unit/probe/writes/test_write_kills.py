"""A write probe killed at any moment harms nothing and leaves at most its own file."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from random import Random

from arraygauge.probe.writes.values import WriteOutcome
from unit.probe.real_filesystem import mounted_filesystem
from unit.probe.writes.test_write_probe import NAME, checksums, probed, with_neighbours


def test_killed_at_random_moments_it_leaves_at_most_what_its_name_says() -> None:
    """Twenty parents killed in mid-probe: no process, no damage, no file under a foreign name."""
    program = (
        f"import sys; sys.path[:0] = {sys.path!r}\n"
        "from pathlib import Path\n"
        "from unit.probe.writes.test_write_probe import probed\n"
        "print('ready', flush=True)\n"
        "for keep in (True, False) * 1000:\n"
        "    probed(Path(sys.argv[1]), keep_file=keep, burst_bytes=4 << 20)\n"
    )
    chance = Random(4)
    with mounted_filesystem("ext4", 200) as mounted:
        before = with_neighbours(mounted)
        for _ in range(20):
            parent = subprocess.Popen(
                [sys.executable, "-c", program, str(mounted)], stdout=subprocess.PIPE
            )
            with parent:
                assert parent.stdout is not None
                parent.stdout.readline()
                time.sleep(chance.uniform(0, 0.4))
                parent.send_signal(signal.SIGKILL)
            assert nobody_uses(mounted, within_seconds=2.0)
            left = {path.name for path in mounted.iterdir() if path.is_file()}
            ours = {name for name in left if "arraygauge" in name}
            assert ours <= {NAME, f".{NAME}.partial"}
        assert checksums(mounted) == before
        assert probed(mounted, keep_file=False).outcome is WriteOutcome.COMPLETED
        assert not [path for path in mounted.iterdir() if "arraygauge" in path.name]


def nobody_uses(directory: Path, within_seconds: float) -> bool:
    """No process has a file open there, by /proc/PID/fd, proc(5)."""
    until = time.monotonic() + within_seconds
    while time.monotonic() < until:
        targets = []
        for link in Path("/proc").glob("[0-9]*/fd/*"):
            try:
                targets.append(os.readlink(link))
            except OSError:
                continue
        if not any(target.startswith(str(directory)) for target in targets):
            return True
        time.sleep(0.02)
    return False
