"""Writing after a pass: where and when the configuration says, and not where reading failed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from arraygauge.config.model import Configuration
from arraygauge.history import Pen, open_history
from arraygauge.history.measurements import Measurements, records_of
from arraygauge.inventory.values import DeviceKind, Level
from arraygauge.judge import Grounds, Status, assess_write
from arraygauge.judge.findings import Matter
from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import Attempt, Outcome, Skipped, SkipReason
from arraygauge.probe.writes.values import (
    WriteAttempt,
    WriteMeasurement,
    WriteOutcome,
    WriteRequest,
)
from arraygauge.service import write_probing
from arraygauge.service.keeper import Keeper
from arraygauge.service.probing import Manner
from arraygauge.service.purse import Purse
from arraygauge.service.targets import choose_targets
from arraygauge.service.write_probing import WriteProbing
from arraygauge.theory import MemberRate, Source
from invented import array, drive, host, measured, member
from unit.service.write_scene import (
    HOUR,
    MIB,
    MOUNT,
    NETWORK,
    Clock,
    machine,
    purse_over,
    request,
    wrote,
)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def purse(tmp_path: Path, clock: Clock) -> Iterator[Purse]:
    with purse_over(open_history(tmp_path / "history.sqlite"), clock) as made:
        yield made


READ: dict[str, Attempt] = {name: measured(name, 1e8) for name in ("sda", "sdb", "md0")}


class Pass:
    """One configuration's writing, with the probe itself replaced."""

    def __init__(self, purse: Purse, manner: Manner = Manner.ASKED, **section: Any) -> None:
        keys = {"directories": ["/films/own"]} | section
        self.asked: list[WriteRequest] = []
        self.outcome = WriteOutcome.COMPLETED
        self.purse = purse
        self.probing = WriteProbing(
            prober=Prober(StopToken()),
            purse=purse,
            configuration=Configuration.model_validate({"write_probe": keys}),
            manner=manner,
        )

    def write(self, attempts: dict[str, Attempt] | None = None) -> dict[str, WriteAttempt]:
        snapshot = machine()
        return self.probing.write_all(
            snapshot,
            (MOUNT, NETWORK),
            choose_targets(snapshot, ()),
            attempts if attempts is not None else READ,
            lambda *_: None,
        )

    def write_and_keep(self) -> dict[str, WriteAttempt]:
        """As the daemon does: what was made goes into the history."""
        found = self.write()
        verdicts = tuple(
            assess_write(machine(), name, each, READ, Grounds()) for name, each in found.items()
        )
        status = Status(host=machine(), arrays=(), devices=(), seconds=1.0, writes=verdicts)
        Measurements(Pen(self.purse.history)).add(records_of(status))
        return found


@pytest.fixture(autouse=True)
def replaced(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[Pass]]:
    """The writing itself, which needs a device: it is as the pass of the moment says."""
    passes: list[Pass] = []

    def in_quiet(self: WriteProbing, asked: WriteRequest, watch: object) -> WriteAttempt:
        current = next(each for each in passes if each.probing == self)
        current.asked.append(asked)
        given = current.outcome is WriteOutcome.GAVE_WAY
        at = current.purse.clock_seconds()
        return wrote(
            asked,
            outcome=current.outcome,
            bytes_written=MIB if given else 300 * MIB,
            started_at_seconds=at,
        )

    monkeypatch.setattr(write_probing.WriteProbing, "_in_quiet", in_quiet)
    yield passes
    for each in passes:
        each.probing.prober.stop.close()


class TestProbing:
    def test_the_array_under_the_directory_is_written_to_within_the_section_s_limits(
        self, purse: Purse, replaced: list[Pass]
    ) -> None:
        scene = Pass(purse, burst_bytes="64 MiB", keep_file=False)
        replaced.append(scene)
        assert list(scene.write()) == ["md0"]
        [asked] = scene.asked
        assert asked.directories == (Path("/films/own"),)
        assert (asked.burst_bytes, asked.max_bytes) == (64 * MIB, 320 * MIB)
        assert not asked.keep_file

    def test_a_directory_on_the_network_is_refused_by_its_own_name(
        self, purse: Purse, replaced: list[Pass]
    ) -> None:
        scene = Pass(purse, directories=["/share/own"])
        replaced.append(scene)
        [(name, refused)] = scene.write().items()
        assert name == "/share/own"
        assert isinstance(refused, Skipped)
        assert "another machine" in refused.detail

    @pytest.mark.parametrize(
        ("read", "reason"),
        [
            (
                Skipped(device="md0", reason=SkipReason.ON_BATTERY, detail="battery"),
                SkipReason.ON_BATTERY,
            ),
            (
                replace(measured("md0", 1e8), outcome=Outcome.READ_ERROR),
                SkipReason.MEMBER_UNREADABLE,
            ),
        ],
    )
    def test_what_may_not_be_read_or_failed_to_be_is_not_written_to(
        self, purse: Purse, replaced: list[Pass], read: Attempt, reason: SkipReason
    ) -> None:
        scene = Pass(purse)
        replaced.append(scene)
        refused = scene.write({**READ, "md0": read})["md0"]
        assert isinstance(refused, Skipped)
        assert refused.reason is reason
        assert scene.asked == []

    def test_nor_is_an_array_with_a_member_that_failed(
        self, purse: Purse, replaced: list[Pass]
    ) -> None:
        scene = Pass(purse)
        replaced.append(scene)
        failed = replace(measured("sdb", 1e8), outcome=Outcome.ABANDONED)
        assert isinstance(scene.write({**READ, "sdb": failed})["md0"], Skipped)

    def test_an_array_without_a_place_for_a_file_to_read_is_written_to_all_the_same(
        self, purse: Purse, replaced: list[Pass]
    ) -> None:
        scene = Pass(purse)
        replaced.append(scene)
        no_file = Skipped(device="md0", reason=SkipReason.NO_OWN_FILE, detail="no place")
        assert isinstance(scene.write({**READ, "md0": no_file})["md0"], WriteMeasurement)

    def test_on_schedule_it_is_written_once_an_interval(
        self, purse: Purse, clock: Clock, replaced: list[Pass]
    ) -> None:
        scene = Pass(purse, Manner.SCHEDULED, enabled=True, interval_seconds=24 * HOUR)
        replaced.append(scene)
        for _ in range(51):
            scene.write_and_keep()
            clock.seconds += HOUR
        assert len(scene.asked) == 3

    def test_having_given_way_it_is_tried_again_at_the_next_pass(
        self, purse: Purse, clock: Clock, replaced: list[Pass]
    ) -> None:
        scene = Pass(purse, Manner.SCHEDULED, enabled=True)
        replaced.append(scene)
        scene.outcome = WriteOutcome.GAVE_WAY
        scene.write_and_keep()
        clock.seconds += HOUR
        scene.write_and_keep()
        assert len(scene.asked) == 2

    def test_a_person_who_asks_need_not_wait_for_the_interval(
        self, purse: Purse, replaced: list[Pass]
    ) -> None:
        scene = Pass(purse)
        replaced.append(scene)
        scene.write_and_keep()
        scene.write_and_keep()
        assert len(scene.asked) == 2


def test_a_directory_beside_a_member_on_its_drive_is_refused_and_not_forgotten(
    purse: Purse,
) -> None:
    there = replace(MOUNT, device_number=(8, 2))
    made = host([array(Level.RAID1, [member("sda1", 0), member("sdb1", 1)])])
    disk = drive("sda", above=("sda1", "sda2"))
    inner = drive("sda1", kind=DeviceKind.PARTITION, below=("sda",), above=("md0",), disk="sda")
    beside = drive("sda2", kind=DeviceKind.PARTITION, below=("sda",), mounts=(there,), disk="sda")
    rest = [each for each in made.devices if each.name != "sda1"]
    snapshot = replace(made, devices=(disk, inner, beside, *rest))
    scene = Pass(purse)
    targets = choose_targets(snapshot, ())
    found = scene.probing.write_all(snapshot, (there,), targets, READ, lambda *_: None)
    scene.probing.prober.stop.close()
    [(name, refused)] = found.items()
    assert name == "/films/own"
    assert isinstance(refused, Skipped)
    assert "parts of it are members of an array" in refused.detail


def test_the_lone_drive_below_a_directory_is_written_to(purse: Purse) -> None:
    alone = host(drives=[drive("sdc", mounts=(MOUNT,), number=(9, 0))])
    scene = Pass(purse)
    found = scene.probing.most_bytes(alone, (MOUNT,), choose_targets(alone, ()))
    scene.probing.prober.stop.close()
    assert found == 512 * MIB


def test_a_pass_that_wrote_slowly_opens_an_incident_that_reading_leaves_open(
    purse: Purse, clock: Clock
) -> None:
    rated = Grounds(
        rated={
            name: MemberRate(
                read_bytes_per_second=2e8, write_bytes_per_second=2e8, source=Source.RATED
            )
            for name in ("sda", "sdb")
        }
    )
    verdict = assess_write(machine(), "md0", wrote(request()), READ, rated)
    status = Status(host=machine(), arrays=(), devices=(), seconds=1.0, writes=(verdict,))
    keeper = Keeper(purse.history, clock, (), "invented")
    keeper.see_status(status)
    for _ in range(3):
        keeper.see_status(replace(status, writes=()))
    [incident] = keeper.open_incidents
    assert incident.finding.matter is Matter.SLOW_WRITES
