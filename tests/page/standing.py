"""A process of its own: an agent's page over a large invented machine with a year of history,
which changes every few seconds. For each line it is given it answers with the processor seconds
it has taken. The first line out is the address."""

from __future__ import annotations

import sys
import threading
import time
from pathlib import Path

from arraygauge.config.model import RunSection
from arraygauge.history import Measurements, Pen, open_history
from arraygauge.inventory.values import Host, Level
from arraygauge.judge import Grounds, Status, assess_array, assess_device
from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import Attempt
from arraygauge.service.door import Door
from arraygauge.service.http import Serving, application
from arraygauge.service.page import Page
from arraygauge.service.page_events import Followers
from arraygauge.service.page_known import PageKnowledge
from arraygauge.service.parts import Part, Parts
from arraygauge.tell.metrics import StatusCollector
from invented import array, drive, host, measured, member
from unit.history.test_measurements import record

CHANGE_SECONDS = 10.0
"""Far more often than a machine in order changes, whose passes are an hour apart."""
YEAR_SECONDS = 365 * 86400.0
NAMES = [f"sd{letter}" for letter in "abcdefghijkl"]
MEMBERS = (NAMES[:4], NAMES[4:8], NAMES[8:])


def machine() -> Host:
    """Three arrays of four drives each."""
    arrays = [
        array(
            Level.RAID5,
            [member(name, slot) for slot, name in enumerate(names)],
            name=f"md{number}",
            stable_id=f"invented-md{number}",
        )
        for number, names in enumerate(MEMBERS)
    ]
    return host(arrays, [drive(name) for name in NAMES])


def passed(there: Host, rate: float) -> Status:
    """A pass in which every drive reads at that rate, and every array at four times that."""
    attempts: dict[str, Attempt] = {name: measured(name, rate) for name in NAMES}
    attempts |= {each.name: measured(each.name, 4 * rate) for each in there.arrays}
    peers = dict.fromkeys(NAMES, rate)
    return Status(
        host=there,
        arrays=tuple(assess_array(there, each, attempts, Grounds()) for each in there.arrays),
        devices=tuple(
            assess_device(there, each, attempts[each.name], peers, Grounds())
            for each in there.devices
            if each.name in NAMES
        ),
        seconds=1.0,
    )


def main() -> None:
    """Until standard input ends. Argument: a folder for the history."""
    stop, there = StopToken(), machine()
    with open_history(Path(sys.argv[1]) / "history.sqlite") as history:
        began = time.time() - YEAR_SECONDS
        arrays = [each.stable_id for each in there.arrays]
        for stable_id in (*arrays, *(f"invented-{name}" for name in NAMES)):
            Measurements(Pen(history)).add(
                record(at=began + hour * 3600.0, stable_id=stable_id) for hour in range(365 * 24)
            )
        Measurements(Pen(history)).prune()
        knowledge = PageKnowledge("large", history)
        knowledge.see_status(passed(there, 100e6), Grounds())
        followers = Followers(knowledge.revision, stop)
        answer = application(StatusCollector(), lambda: "{}", Page(knowledge), followers)
        serving = Serving(RunSection(listen_port=0), answer, stop, Door(None), followers)
        parts = Parts(
            [Part(name="http", run=serving.run), Part(name="open pages", run=followers.run)],
            stop,
            lambda: None,
        )
        parts.start()

        def change() -> None:
            rate = 100e6
            while not stop.wait(CHANGE_SECONDS):
                rate += 1e6
                knowledge.see_status(passed(there, rate), Grounds())

        threading.Thread(target=change, daemon=True).start()
        print(serving.address, flush=True)
        for _ in sys.stdin:
            print(time.process_time(), flush=True)
        stop.set()
        parts.end(2)


if __name__ == "__main__":
    main()
