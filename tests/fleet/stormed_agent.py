"""A process of its own: serves a large machine's metrics, and for each line it is given lets
its keeper see the machine, as the daemon does on an event, or probes a file where the line says
so; then it answers with a line."""

from __future__ import annotations

import sys
import threading
import time
from pathlib import Path

from arraygauge.config.model import RunSection
from arraygauge.history import open_history, system_clock
from arraygauge.inventory.values import Level
from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.service.door import Door
from arraygauge.service.http import Serving, application
from arraygauge.service.keeper import Keeper
from arraygauge.service.parts import Pulse
from fleet.large_machine import large_collector
from invented import FAILED, array, drive, host, member
from unit.probe.probe_requests import MIB, request

DRIVES = [drive("sda"), drive("sdb")]
WHOLE = array(Level.RAID1, [member("sda", 0), member("sdb", 1)], raid_disks=2)
DEGRADED = array(Level.RAID1, [member("sda", 0), member("sdb", **FAILED)], raid_disks=2)

FILE = Path(sys.argv[1]) / "file"
PROBE = request(FILE, extents=((0, 16 * MIB),), place_seconds=0.2, longest_seconds=0.2)


def main() -> None:
    """Until standard input ends. The first line out is the address."""
    stop, collector = StopToken(), large_collector()
    answer = application(collector, lambda: "{}")
    serving = Serving(RunSection(listen_port=0), answer, stop, Door(None))
    pulse = Pulse("http", lambda: None, time.monotonic)
    threading.Thread(target=serving.run, args=(pulse,), daemon=True).start()
    with open_history(Path(sys.argv[1]) / "history.sqlite") as history:
        keeper = Keeper(history, system_clock("storm"), [], "stormed")
        keeper.start()
        keeper.see_host(host([WHOLE], DRIVES))
        print(serving.address, flush=True)
        prober = Prober(stop)
        for number, line in enumerate(sys.stdin):
            if line == "probe\n":
                print(prober.run(PROBE).outcome, flush=True)
                continue
            seen = (DEGRADED, WHOLE)[number % 2]
            keeper.see_host(host([seen], DRIVES))
            collector.publish_incidents(keeper.open_incidents)
            print(len(keeper.open_incidents), flush=True)
    stop.set()


if __name__ == "__main__":
    main()
