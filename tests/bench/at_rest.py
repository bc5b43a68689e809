"""What a running agent costs at rest: `python -m bench.at_rest [SECONDS]` from tests/.

The whole `arraygauge run`, on a machine room of 24 drives in 6 arrays (``bench.machine_room``),
after its first pass, which finds none of the drives behind those files. Files of a tree are read
like the kernel's, whose own work for them is not in the figure, and events of the machine on which
this runs are not heard: others may be at work there. Then: how long a look at 1,000
devices takes, and how memory grows up to there. Exits with 1 where a limit is exceeded.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from arraygauge.inventory.host import read_host
from bench.machine_room import lay_out

TESTS = Path(__file__).parents[1]
GROUPS, MANY_GROUPS = 6, 200
SETTLE_SECONDS = 20.0
MOST_CORE_SHARE, MOST_RESIDENT_MB, MOST_LOOK_SECONDS = 0.003, 60.0, 0.5
LEAST_SECONDS_BETWEEN_WAKEUPS = 2.0

_READ = "read_host(Tree(root=Path({root!r})))"
INVENTORY = (
    "import socket\nfrom pathlib import Path\n"
    "from arraygauge.inventory import sentinel\n"
    "from arraygauge.inventory.host import HostSource\n"
    "from arraygauge.inventory.sentinel import Sentinel\n"
    "from arraygauge.inventory.tree import Tree\n"
    "heard, silent = socket.socketpair()\n"
    "sentinel.open_uevents = lambda: heard\n"
    "Sentinel(0, 1, HostSource(Tree(root=Path({root!r})))).run()\n"
)
AGENT = """
import functools, sys
from pathlib import Path
from arraygauge.cli import main, run
from arraygauge.inventory.counters import CounterReader
from arraygauge.inventory.tree import Tree
from arraygauge.service import daemon, host_reader
command = (sys.executable, "-c", {inventory!r})
run.Setting = functools.partial(run.Setting, command=command)
host_reader.HostReader.__init__.__defaults__ = (command, 10.0)
daemon.PassiveWatcher = functools.partial(
    daemon.PassiveWatcher,
    counters=functools.partial(CounterReader, tree=Tree(root=Path({root!r}))),
)
main(["--config", {config!r}, "run"])
"""


@dataclass(frozen=True, slots=True)
class Process:
    """One process of the agent, at a moment: proc(5)."""

    pid: int
    cpu_seconds: float
    resident_mb: float
    wakeups: dict[str, int]
    """By thread: how often it was put to sleep and so woken again."""


def processes(pid: int) -> list[Process]:
    """The agent's main process first, then those it started."""
    children = Path(f"/proc/{pid}/task").glob("*/children")
    below = [int(each) for file in children for each in file.read_text().split()]
    return [read_process(each) for each in (pid, *below)]


def read_process(pid: int) -> Process:
    folder = Path(f"/proc/{pid}")
    fields = (folder / "stat").read_text().rsplit(")", 1)[1].split()
    memory = dict(
        line.split(":", 1) for line in (folder / "smaps_rollup").read_text().splitlines()[1:]
    )
    wakeups = {}
    for task in (folder / "task").iterdir():
        status = dict(line.split(":", 1) for line in (task / "status").read_text().splitlines())
        wakeups[task.name] = int(status["voluntary_ctxt_switches"])
    return Process(
        pid=pid,
        cpu_seconds=(int(fields[11]) + int(fields[12])) / 100,
        resident_mb=kilobytes(memory["Rss"]) / 1e3,
        wakeups=wakeups,
    )


def kilobytes(text: str) -> float:
    return float(text.split(maxsplit=1)[0]) * 1.024


def agent_at_rest(root: Path, seconds: float) -> bool:
    """Whether it keeps within the limits."""
    config, state = root / "config.toml", root / "state"
    config.write_text("[run]\nlisten_port = 0\n[journal]\nenabled = false\n")
    inventory = INVENTORY.format(root=str(root))
    script = AGENT.format(inventory=inventory, root=str(root), config=str(config))
    began = time.monotonic()
    reading, writing = os.pipe()
    stream = os.fstat(writing)
    environment = {
        "STATE_DIRECTORY": str(state),
        "PATH": "/usr/bin",
        "JOURNAL_STREAM": f"{stream.st_dev}:{stream.st_ino}",  # as for a service
    }
    agent = subprocess.Popen([sys.executable, "-c", script], stdout=writing, env=environment)
    try:
        os.read(reading, 1)
        print(f"start to serving: {time.monotonic() - began:.2f} s")
        time.sleep(SETTLE_SECONDS)
        before = processes(agent.pid)
        time.sleep(seconds)
        return told(before, processes(agent.pid), seconds)
    finally:
        agent.kill()
        agent.wait()


def told(before: list[Process], after: list[Process], seconds: float) -> bool:
    share, most = 0.0, 0.0
    known = {each.pid: each for each in before}
    for each in after:
        earlier = known.get(each.pid)
        cpu = (each.cpu_seconds - (earlier.cpu_seconds if earlier else 0.0)) / seconds
        rates = [
            (count - (earlier.wakeups.get(task, 0) if earlier else 0)) / seconds
            for task, count in each.wakeups.items()
        ]
        share, most = share + cpu, max(most, *rates, 0)
        print(
            f"process {each.pid}: {100 * cpu:.3f} % of a core, {each.resident_mb:.1f} MB resident, "
            f"{sum(rates):.2f} wakeups a second in {len(rates)} threads, "
            f"the busiest {max(rates):.2f}"
        )
    resident = shared_once(after)
    print(
        f"all: {100 * share:.3f} % of a core (at most {100 * MOST_CORE_SHARE:.1f}), "
        f"{resident:.1f} MB resident, files that several map counted once (at most "
        f"{MOST_RESIDENT_MB:.0f}), the busiest thread wakes {most:.2f} times a second (at most "
        f"{1 / LEAST_SECONDS_BETWEEN_WAKEUPS:.2f})"
    )
    wakes_seldom = most <= 1.1 / LEAST_SECONDS_BETWEEN_WAKEUPS
    return share <= MOST_CORE_SHARE and resident <= MOST_RESIDENT_MB and wakes_seldom


def shared_once(agent: list[Process]) -> float:
    """Megabytes of all processes together. Of a file that several map, the most that one of them
    holds counts, what a process changed of it for each."""
    clean: dict[str, float] = {}
    own = 0.0
    for each in agent:
        held: dict[str, float] = {}
        for name, kind, size in mappings(each.pid):
            if kind.endswith("Clean") and name.startswith("/"):
                held[name] = held.get(name, 0.0) + size
            else:
                own += size
        for name, size in held.items():
            clean[name] = max(clean.get(name, 0.0), size)
    return (own + sum(clean.values())) / 1e3


def mappings(pid: int) -> Iterator[tuple[str, str, float]]:
    """What is mapped, clean or changed, and how many kilobytes of it: proc_pid_smaps(5)."""
    name = ""
    for line in Path(f"/proc/{pid}/smaps").read_text().splitlines():
        words = line.split()
        if not words[0].endswith(":"):
            name = words[5] if len(words) > 5 else ""
        elif words[0] in ("Shared_Clean:", "Shared_Dirty:", "Private_Clean:", "Private_Dirty:"):
            yield name, words[0].removesuffix(":"), kilobytes(words[1])


def many_devices(folder: Path) -> bool:
    """Whether a look at 1,000 devices is quick; prints how memory grows up to there."""
    for groups in (GROUPS, MANY_GROUPS // 4, MANY_GROUPS // 2, MANY_GROUPS):
        root = folder / str(groups)
        tree = lay_out(groups, root)
        looks = []
        for _ in range(5):
            began = time.perf_counter()
            host = read_host(tree)
            looks.append(time.perf_counter() - began)
        print(
            f"{len(host.devices)} devices: {1000 * min(looks):.0f} ms a look, "
            f"{peak_mb(root):.1f} MB resident after it"
        )
    return min(looks) <= MOST_LOOK_SECONDS


def peak_mb(root: Path) -> float:
    """Of a process of its own that has looked five times."""
    script = (
        "from pathlib import Path\nfrom arraygauge.inventory.host import read_host\n"
        "from arraygauge.inventory.frames import encode\n"
        "from arraygauge.inventory.tree import Tree\n"
        f"for _ in range(5):\n    encode({_READ.format(root=str(root))})\n"
        "print(open('/proc/self/status').read())\n"
    )
    said = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    status = dict(line.split(":", 1) for line in said.stdout.splitlines() if ":" in line)
    return kilobytes(status["VmHWM"]) / 1e3


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 120.0
    # In memory, as the kernel's files are: a reader of them waits for no drive.
    with tempfile.TemporaryDirectory(dir="/dev/shm") as folder:
        root = Path(folder) / "room"
        lay_out(GROUPS, root)
        kept = agent_at_rest(root, seconds)
        kept &= many_devices(Path(folder))
    sys.exit(0 if kept else 1)


if __name__ == "__main__":
    main()
