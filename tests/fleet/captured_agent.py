"""An agent over a captured machine: inventory, incidents, metrics and HTTP are the agent's own,
what drives measure is invented. A test breaks and mends the machine between two looks."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from arraygauge.config.model import RunSection
from arraygauge.history import open_history, system_clock
from arraygauge.inventory.host import read_host
from arraygauge.inventory.tree import Tree
from arraygauge.inventory.values import Array, DeviceKind, Host
from arraygauge.judge import Grounds, Status, assess_array, assess_device
from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import Attempt, Skipped, SkipReason
from arraygauge.service.door import Door
from arraygauge.service.http import Serving, application
from arraygauge.service.keeper import Keeper
from arraygauge.service.parts import Pulse
from arraygauge.tell.channel_state import ChannelState
from arraygauge.tell.metrics import BudgetUse, StatusCollector
from arraygauge.theory import MemberRate, Source
from captured.machines import captured_udev, lay_out
from invented import measured

DRIVE_BYTES_PER_SECOND = 100e6


@dataclass(frozen=True, slots=True, kw_only=True)
class CapturedAgent:
    """``address`` is where it serves."""

    tree: Tree
    keeper: Keeper
    collector: StatusCollector
    address: str

    def look(self) -> Host:
        """What the daemon does at each look."""
        host = read_host(self.tree, captured_udev(self.tree))
        self.keeper.see_host(host)
        self.collector.publish_host(host)
        self.collector.publish_incidents(self.keeper.open_incidents)
        self.collector.note_heartbeat(time.time())
        return host

    def measure(self, slow: str = "") -> None:
        """What the daemon does after a pass; the named drive reads at half its rate."""
        status = status_of(read_host(self.tree, captured_udev(self.tree)), slow)
        self.keeper.see_status(status)
        self.collector.publish(status)
        self.collector.publish_budget(
            [
                BudgetUse(device_id=each.device.stable_id, day_bytes=2**30, left_ratio=0.9)
                for each in status.devices
            ]
        )

    def write(self, path: str, text: str) -> None:
        """A file of md1 as the kernel would show it."""
        target = self.tree.root / "sys/devices/virtual/block/md1/md" / path
        target.write_text(f"{text}\n", encoding="ascii")

    def fail_member(self) -> None:
        """md1, a mirror, fails vdb: Documentation/admin-guide/md.rst, dev-XXX/state and slot."""
        self.write("dev-vdb/state", "faulty")
        self.write("dev-vdb/slot", "none")
        self.write("degraded", "1")

    def rebuild_member(self) -> None:
        """vdb was put back and is a quarter rebuilt."""
        self.write("dev-vdb/state", "spare")
        self.write("dev-vdb/slot", "1")
        self.write("sync_action", "recover")
        self.write("sync_completed", "524288 / 2097152")
        self.write("sync_speed", "51200")

    def mend_member(self) -> None:
        """vdb serves again."""
        self.write("dev-vdb/state", "in_sync")
        self.write("dev-vdb/slot", "1")
        self.write("degraded", "0")
        self.write("sync_action", "idle")
        self.write("sync_completed", "none")


def status_of(host: Host, slow: str) -> Status:
    """A pass in which every drive and array was measured."""
    drives = [device for device in host.devices if device.kind is DeviceKind.DRIVE]
    attempts: dict[str, Attempt] = {}
    for drive in drives:
        share = 0.5 if drive.name == slow else 1.0
        found = measured(drive.name, share * DRIVE_BYTES_PER_SECOND)
        now = time.time()
        attempts[drive.name] = replace(found, temperature_celsius=35.0, started_at_seconds=now)
    rating = MemberRate(
        read_bytes_per_second=DRIVE_BYTES_PER_SECOND,
        write_bytes_per_second=None,
        source=Source.RATED,
    )
    grounds = Grounds(rated={drive.name: rating for drive in drives})
    for array in host.arrays:
        found = measured(array.name, _expected(host, array, grounds))
        attempts[array.name] = replace(found, started_at_seconds=time.time())
    return Status(
        host=host,
        arrays=tuple(assess_array(host, array, attempts, grounds) for array in host.arrays),
        devices=tuple(
            assess_device(host, drive, attempts[drive.name], {}, grounds) for drive in drives
        ),
        seconds=1.0,
    )


def _expected(host: Host, array: Array, grounds: Grounds) -> float:
    """Every array keeps its promise."""
    untried = Skipped(device=array.name, reason=SkipReason.STOPPED, detail="")
    band = assess_array(host, array, {array.name: untried}, grounds).expectation
    assert band is not None
    return band.ceiling_bytes_per_second


@contextmanager
def captured_agent(folder: Path, door: Door | None = None) -> Iterator[CapturedAgent]:
    """Serving on loopback, having looked and measured once."""
    tree = lay_out("lab_levels", folder / "machine")
    stop, collector = StopToken(), StatusCollector()
    with open_history(folder / "history.sqlite") as history:
        keeper = Keeper(history, system_clock("captured"), [], "captured")
        keeper.start()
        answer = application(collector, lambda: "{}")
        serving = Serving(RunSection(listen_port=0), answer, stop, door or Door(None))
        pulse = Pulse("http", lambda: None, time.monotonic)
        thread = threading.Thread(target=serving.run, args=(pulse,))
        thread.start()
        try:
            agent = CapturedAgent(
                tree=tree, keeper=keeper, collector=collector, address=serving.address
            )
            collector.publish_interval(3600.0)
            collector.publish_channels([ChannelState(channel="desk")])
            agent.look()
            agent.measure()
            yield agent
        finally:
            stop.set()
            thread.join(5)
