"""What the passive watch costs: `python -m bench.passive_cost [SECONDS]` from tests/.

A tree of invented counters, 24 drives in 6 arrays; the watch runs at its own cadence, at rest
and then at work. Files of a tree are read like the kernel's, whose own work for them (1 µs a
device, measured apart) is not in the figure.
"""

from __future__ import annotations

import sys
import tempfile
import threading
import time
from functools import partial
from pathlib import Path

from arraygauge.config import Configuration
from arraygauge.inventory.counters import CounterReader
from arraygauge.inventory.tree import Tree
from arraygauge.inventory.values import Host, Level
from arraygauge.probe.own_probes import OwnProbes
from arraygauge.probe.stop import StopToken
from arraygauge.service.parts import Pulse
from arraygauge.service.passive_watch import PassiveWatcher
from invented import array, host, member

DRIVES, ARRAYS = 24, 6
NAMES = tuple(f"sd{chr(97 + number)}" for number in range(DRIVES))


def machine() -> Host:
    width = DRIVES // ARRAYS
    return host(
        [
            array(
                Level.RAID5,
                [member(NAMES[width * number + slot], slot) for slot in range(width)],
                name=f"md{number}",
                stable_id=f"invented-md{number}",
            )
            for number in range(ARRAYS)
        ]
    )


def write(root: Path, step: int) -> None:
    """Counters after so many half seconds of 50 reads each."""
    for name in NAMES:
        folder = root / "sys/class/block" / name
        folder.mkdir(parents=True, exist_ok=True)
        reads = 1000 + 50 * step
        before = f"{reads} 0 {reads * 256} {reads * 4} 50 0 1000 300"
        after = f"{int(step > 0)} {reads * 3} {reads * 4}"
        (folder / "stat").write_text(f"{before} {after}\n", encoding="ascii")


def cost(root: Path, seconds: float, *, works: bool) -> tuple[float, int]:
    """Processor seconds of the watching thread alone, and its looks."""
    stop, looks, spent = StopToken(), [0], [0.0]

    def looked(_: object) -> None:
        looks[0] += 1

    watcher = PassiveWatcher(
        stop,
        Configuration(),
        OwnProbes(),
        on_news=looked,
        on_suspicion=lambda: None,
        counters=partial(CounterReader, tree=Tree(root=root)),
    )
    watcher.see_host(machine())

    def run() -> None:
        began = time.thread_time()
        watcher.run(Pulse("watch", lambda: None, time.monotonic))
        spent[0] = time.thread_time() - began

    thread = threading.Thread(target=run)
    thread.start()
    until, step = time.monotonic() + seconds, 0
    while time.monotonic() < until:
        step += 1
        if works:
            write(root, step)
        time.sleep(0.5)
    stop.set()
    thread.join()
    stop.close()
    return spent[0], looks[0]


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    with tempfile.TemporaryDirectory() as folder:
        for works in (False, True):
            write(Path(folder), 0)
            spent, looks = cost(Path(folder), seconds, works=works)
            print(
                f"{'at work' if works else 'at rest'}: {looks} looks in {seconds:.0f} s, "
                f"{100 * spent / seconds:.3f} % of a core, {1000 * spent / looks:.2f} ms a look"
            )


if __name__ == "__main__":
    main()
