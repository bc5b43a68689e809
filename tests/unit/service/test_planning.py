"""The drives of this machine as a plan takes them: which, and how their reading is known."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, cast

import pytest

from arraygauge.config import Configuration, parse_configuration
from arraygauge.errors import UnknownDeviceError
from arraygauge.history import History, open_history
from arraygauge.history.measurements import Measurements, records_of
from arraygauge.history.pen import Pen
from arraygauge.inventory.values import DeviceKind, Host, Level, Link, LinkKind, LinkRate, Mount
from arraygauge.judge import Grounds, Status, assess_device
from arraygauge.probe.values import Attempt, Skipped, SkipReason
from arraygauge.service.planning import supply_here
from arraygauge.service.survey import Surveyor
from arraygauge.service.targets import Targets
from arraygauge.theory import Source
from invented import array, drive, host, measured, member

PARITY = "[parity]\nmb_per_second = 20000\n"
PORT = Link(
    link_id="port",
    kind=LinkKind.SATA,
    name="ata1",
    negotiated=LinkRate(bits_per_second_per_lane=6_000_000_000, lanes=1),
    maximum=None,
    parent_id=None,
)


@dataclass
class FakeProbing:
    """Reads what it is told to; remembers what it was asked for."""

    attempts: Mapping[str, Attempt]
    asked: list[str] = field(default_factory=list)

    def probe_all(
        self, host: Host, targets: Targets, progress: Callable[[str, int, int], None]
    ) -> dict[str, Attempt]:
        self.asked += [device.name for device in targets.devices]
        refused = {
            name: Skipped(device=name, reason=SkipReason.OTHERS_AT_WORK, detail="")
            for name in self.asked
        }
        return {**refused, **self.attempts}


class Scene:
    """A machine, its configuration, and a history."""

    def __init__(self, machine: Host, history: History) -> None:
        self.machine = machine
        self.history = history
        self.configuration: Configuration = parse_configuration(PARITY, "test")
        self.read = FakeProbing({})

    def supply(self, *names: str) -> Any:
        @dataclass
        class Hosts:
            machine: Host

            def read(self) -> Host:
                return self.machine

        @dataclass
        class Purse:
            history: History

        @dataclass
        class Surveying:
            hosts: Hosts
            purse: Purse
            configuration: Configuration
            read: FakeProbing

            def probing(self) -> FakeProbing:
                return self.read

        surveying = Surveying(
            Hosts(self.machine), Purse(self.history), self.configuration, self.read
        )
        return supply_here(cast(Surveyor, surveying), names, lambda *_: None)

    def measured_before(self, name: str, *rates: float) -> None:
        device = self.machine.device(name)
        assert device is not None
        for at, rate in enumerate(rates):
            attempt = replace(measured(name, rate), started_at_seconds=1000.0 + at)
            verdict = assess_device(self.machine, device, attempt, {}, Grounds())
            status = Status(host=self.machine, arrays=(), devices=(verdict,), seconds=1.0)
            assert Measurements(Pen(self.history)).add(records_of(status))


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    with open_history(tmp_path / "history.sqlite") as opened:
        yield opened


def two_drives(**changes: Any) -> Host:
    return host(drives=[drive("sda", **changes), drive("sdb", **changes)])


def test_a_drive_is_read_now_where_nothing_is_known_of_it(history: History) -> None:
    scene = Scene(two_drives(), history)
    scene.read = FakeProbing({"sda": measured("sda", 500e6), "sdb": measured("sdb", 400e6)})
    found = scene.supply()
    assert [d.rate.read_bytes_per_second for d in found.supply.drives] == [500e6, 400e6]
    assert found.known_by == {"sda": "measured now", "sdb": "measured now"}
    assert {d.write_source for d in found.supply.drives} == {Source.ASSUMED}
    assert found.supply.parity_bytes_per_second == 20e9


def test_what_was_measured_before_is_not_read_again(history: History) -> None:
    scene = Scene(two_drives(), history)
    scene.measured_before("sda", 500e6, 510e6, 100e6)
    found = scene.supply()
    assert scene.read.asked == ["sdb"]
    assert found.supply.drive("sda").rate.read_bytes_per_second == 500e6
    assert found.known_by["sda"] == "measured before, 3 times"


def test_a_rating_gives_writes_and_stands_where_nothing_was_measured(history: History) -> None:
    scene = Scene(two_drives(), history)
    rated = '[[drive]]\nmatch = "{}"\nread_mb_per_second = 530\nwrite_mb_per_second = 520\n'
    text = PARITY + rated.format("sda") + rated.format("sdb")
    scene.configuration = parse_configuration(text, "test")
    scene.measured_before("sda", 500e6)
    found = scene.supply()
    assert scene.read.asked == []
    assert found.supply.drive("sda").rate.read_bytes_per_second == 500e6
    assert found.supply.drive("sdb").rate.read_bytes_per_second == 530e6
    assert found.known_by["sdb"] == "rated"
    for each in found.supply.drives:
        assert each.rate.write_bytes_per_second == 520e6
        assert each.write_source is Source.RATED


def test_a_drive_that_cannot_be_read_is_as_fast_as_its_link_allows(history: History) -> None:
    """6 Gb/s with 8b/10b carry 600 MB/s (SATA; check values of links)."""
    machine = replace(two_drives(link_ids=("port",)), links=(PORT,))
    found = Scene(machine, history).supply()
    assert found.supply.drive("sda").rate.read_bytes_per_second == pytest.approx(600e6)
    assert found.known_by["sda"] == "not measured: what SATA ata1 allows"
    assert found.supply.drive("sda").rate.source is Source.NEGOTIATED
    [link] = found.supply.links
    assert link.members == ("sda", "sdb")


def test_a_drive_of_which_nothing_is_known_is_left_out_and_said(history: History) -> None:
    found = Scene(two_drives(), history).supply()
    assert found.supply.drives == ()
    assert found.left_out == (
        ("sda", "could not be read, and its link is not known"),
        ("sdb", "could not be read, and its link is not known"),
    )


def test_declared_uplinks_are_part_of_the_bus(history: History) -> None:
    scene = Scene(two_drives(), history)
    scene.read = FakeProbing({name: measured(name, 500e6) for name in ("sda", "sdb")})
    text = '[[uplink]]\nname = "chipset"\ndevices = ["sd*"]\nread_mb_per_second = 800\n'
    scene.configuration = parse_configuration(PARITY + text, "test")
    [link] = scene.supply().supply.links
    assert (link.name, link.members) == ("chipset", ("sda", "sdb"))


def test_the_systems_drive_is_left_out_unless_named(history: History) -> None:
    root = Mount(
        device_number=(8, 1), mount_point="/", root="/", filesystem="ext4", source="", options=()
    )
    part = drive("sda1", kind=DeviceKind.PARTITION, disk="sda", below=("sda",), mounts=(root,))
    machine = host(drives=[drive("sda", above=("sda1",)), part, drive("sdb")])
    scene = Scene(machine, history)
    scene.read = FakeProbing({name: measured(name, 500e6) for name in ("sda", "sdb")})
    found = scene.supply()
    assert [each.name for each in found.supply.drives] == ["sdb"]
    assert found.left_out == (("sda", "carries /; name it to have it in"),)
    assert [each.name for each in scene.supply("sda", "sdb").supply.drives] == ["sda", "sdb"]


def test_an_array_stands_for_its_members(history: History) -> None:
    machine = host([array(Level.RAID5, [member(f"sd{c}", n) for n, c in enumerate("abc")])])
    scene = Scene(machine, history)
    scene.read = FakeProbing({f"sd{c}": measured(f"sd{c}", 500e6) for c in "abc"})
    assert [each.name for each in scene.supply("md0").supply.drives] == ["sda", "sdb", "sdc"]


def test_an_unknown_name_is_told_with_what_there_is(history: History) -> None:
    with pytest.raises(UnknownDeviceError) as raised:
        Scene(two_drives(), history).supply("sdz")
    assert "sdz" in raised.value.message
    assert "sda, sdb" in raised.value.remedy


def test_disks_take_time_to_move_and_other_drives_to_answer(history: History) -> None:
    machine = host(drives=[drive("sda", rotational=True), drive("sdb", rotational=False)])
    scene = Scene(machine, history)
    scene.read = FakeProbing({name: measured(name, 200e6) for name in ("sda", "sdb")})
    disk, solid = scene.supply().supply.drives
    assert disk.rate.operation_seconds > 0
    assert disk.rate.latency_seconds == 0
    assert solid.rate.operation_seconds == 0
    assert solid.rate.latency_seconds > 0
    assert disk.timing_source is solid.timing_source is Source.ASSUMED
