"""Where an own file may lie: on what, on which filesystems, and what is said of them."""

from __future__ import annotations

import os
import subprocess
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from arraygauge.inventory.values import BlockDevice, DeviceKind, Host, Level, Mount, SyncAction
from arraygauge.probe.children import own_file
from arraygauge.probe.children.file_facts import ENCRYPTED, devices_below
from arraygauge.probe.children.own_file import OwnFileError, open_folder
from arraygauge.probe.filesystems import notes_on, why_unfit, why_unfit_to_write
from arraygauge.probe.hosted import filesystem_at, fit_numbers, hosted_filesystems
from arraygauge.probe.values import Skipped, SkipReason
from arraygauge.probe.writes.plan import WriteLimits, plan_write
from arraygauge.probe.writes.values import WriteRequest
from invented import array, drive, host, member
from unit.probe.real_filesystem import MAKE, mounted_filesystem, number_of, require_filesystem

MIB = 1 << 20
FILMS = "/films"


def mount(filesystem: str = "ext4", *options: str, **changes: Any) -> Mount:
    plain = Mount(
        device_number=(9, 0),
        mount_point=FILMS,
        root="/",
        filesystem=filesystem,
        source="/dev/md0",
        options=options or ("rw",),
    )
    return replace(plain, **changes)


def mapped(name: str, below: tuple[str, ...], uuid: str | None, **changes: Any) -> BlockDevice:
    return drive(
        name,
        kind=DeviceKind.MAPPED,
        below=below,
        mapped_name=f"films-{name}",
        mapped_uuid=uuid,
        number=(253, int(name.removeprefix("dm-"))),
        **changes,
    )


def machine(*above: BlockDevice, on_array: tuple[Mount, ...] = (), **changes: Any) -> Host:
    """md0, a mirror of sda and sdb, and what is made of it."""
    md0 = drive(
        "md0",
        kind=DeviceKind.ARRAY,
        number=(9, 0),
        below=("sda", "sdb"),
        above=tuple(each.name for each in above if "md0" in each.below),
        mounts=on_array,
    )
    members = [member("sda", 0), member("sdb", 1)]
    made = host([array(Level.RAID1, members, **changes)])
    drives = (drive("sda", above=("md0",)), drive("sdb", above=("md0",)))
    return replace(made, devices=(*drives, md0, *above))


def on_md0(snapshot: Host) -> list[tuple[str, str | None]]:
    device = snapshot.device("md0")
    assert device is not None
    return [
        (each.device, each.unfit) for each in hosted_filesystems(snapshot, device, to_write=True)
    ]


def test_a_filesystem_on_the_array_itself_is_fit() -> None:
    assert on_md0(machine(on_array=(mount(),))) == [("md0", None)]


def test_so_is_one_on_its_partition_or_on_a_volume_over_it_alone() -> None:
    partition = drive("md0p1", kind=DeviceKind.PARTITION, below=("md0",), mounts=(mount(),))
    volume = mapped("dm-0", ("md0",), "LVM-abc", mounts=(mount(),))
    assert on_md0(machine(partition, volume)) == [("md0p1", None), ("dm-0", None)]


def test_a_volume_over_two_devices_does_not_lie_on_the_array() -> None:
    assert on_md0(machine(mapped("dm-0", ("md0", "sdc"), "LVM-abc", mounts=(mount(),)))) == []


def test_neither_does_one_on_another_array_over_it() -> None:
    upper = drive("md1", kind=DeviceKind.ARRAY, below=("md0",), mounts=(mount(),))
    assert on_md0(machine(upper)) == []


@pytest.mark.parametrize(
    ("uuid", "reason"),
    [
        ("CRYPT-LUKS2-0123-films", "encrypted between filesystem and device (films-dm-0)"),
        ("VDO-0123", "deduplicated and compressed"),
        ("LVM-0123-vpool", "deduplicated and compressed"),
    ],
)
def test_layers_that_change_the_data_are_refused_below_a_volume_too(uuid: str, reason: str) -> None:
    layer = mapped("dm-0", ("md0",), uuid, above=("dm-1",))
    volume = mapped("dm-1", ("dm-0",), "LVM-abc", mounts=(mount(),))
    [(device, unfit)] = on_md0(machine(layer, volume))
    assert device == "dm-1"
    assert reason in (unfit or "")


@pytest.mark.parametrize(
    ("filesystem", "reason"),
    [
        ("nfs4", "network"),
        ("cifs", "network"),
        ("9p", "network"),
        ("virtiofs", "network"),
        ("fuse.sshfs", "run by a program"),
        ("fuseblk", "run by a program"),
        ("tmpfs", "memory"),
        ("ramfs", "memory"),
        ("overlay", "stacked"),
        ("ecryptfs", "cipher"),
        ("squashfs", "can only be read"),
        ("neverheardof", "not known"),
    ],
)
def test_unfit_filesystems_are_refused_each_with_its_reason(filesystem: str, reason: str) -> None:
    for unfit in (why_unfit(filesystem, False), why_unfit_to_write(mount(filesystem))):
        assert filesystem in (unfit or "")
        assert reason in (unfit or "")


@pytest.mark.parametrize("filesystem", ["ext4", "xfs", "btrfs", "f2fs", "vfat"])
def test_filesystems_on_devices_are_fit_unless_read_only(filesystem: str) -> None:
    assert why_unfit(filesystem, read_only=False) is None
    assert why_unfit_to_write(mount(filesystem)) is None
    assert "read-only" in (why_unfit_to_write(mount(filesystem, "ro")) or "")


@pytest.mark.parametrize(
    ("there", "reason"),
    [
        (mount("ext4", "rw", "data=journal"), "everything twice"),
        (mount("xfs", "rw", "rtdev=/dev/sdz"), "second device"),
        (mount("nilfs2"), "through memory"),
    ],
)
def test_what_writes_otherwise_than_the_device_is_refused_for_writes_alone(
    there: Mount, reason: str
) -> None:
    assert reason in (why_unfit_to_write(there) or "")
    assert why_unfit(there.filesystem, there.read_only) is None


@pytest.mark.parametrize(
    ("there", "in_place", "said"),
    [
        (mount("ext4"), False, []),
        (mount("xfs", "rw", "reflink"), False, []),
        (mount("btrfs"), True, ["not the agent's file"]),
        (mount("btrfs", "rw", "compress=zstd:3"), True, ["not the agent's file"]),
        (mount("btrfs", "rw", "nodatacow"), False, ["not the agent's file"]),
        (mount("btrfs", "rw", "compress=zstd:3"), False, ["copies on write:", "(zstd:3)"]),
        (mount("bcachefs", "rw", "compression=lz4"), False, ["copies on write:", "(lz4)"]),
        (mount("f2fs", "rw", "compress_algorithm=lz4"), False, ["like a log", "(lz4)"]),
        (mount("ext4", "rw", "sync"), False, ["flushed by itself"]),
        (mount("xfs", "rw", "logdev=/dev/sdz"), False, ["log lies on another device"]),
    ],
)
def test_copying_and_compressing_filesystems_are_recognised_and_said(
    there: Mount, in_place: bool, said: list[str]
) -> None:
    notes = notes_on(there, in_place)
    assert len(notes) == len(said)
    for note, words in zip(notes, said, strict=True):
        assert words in note


def planned(snapshot: Host, **changes: Any) -> WriteRequest | Skipped:
    limits = WriteLimits(directories=(Path(FILMS),), max_bytes=1024 * MIB)
    device = snapshot.device("md0")
    assert device is not None
    return plan_write(snapshot, device, replace(limits, **changes))


def test_a_plan_names_the_array_its_filesystems_and_the_limits() -> None:
    plan = planned(machine(on_array=(mount(),)), keep_file=False)
    assert isinstance(plan, WriteRequest)
    assert (plan.device, plan.max_bytes, plan.keep_file) == ("md0", 1024 * MIB, False)
    assert fit_numbers(plan.filesystems) == [(9, 0)]
    assert filesystem_at(plan.filesystems, (9, 0)) == plan.filesystems[0]
    assert filesystem_at(plan.filesystems, None) is None


@pytest.mark.parametrize(
    ("snapshot", "limits", "reason", "words"),
    [
        (machine(), {}, SkipReason.NO_OWN_FILE, "no filesystem"),
        (
            machine(on_array=(mount("ext4", "ro"),)),
            {},
            SkipReason.NO_OWN_FILE,
            "read-only",
        ),
        (
            machine(on_array=(mount(),)),
            {"directories": ()},
            SkipReason.NO_OWN_FILE,
            "write_probe.directories",
        ),
        (
            machine(on_array=(mount(),), sync_action=SyncAction.CHECK),
            {},
            SkipReason.SYNC_RUNNING,
            "check",
        ),
    ],
)
def test_an_array_is_left_alone_with_the_reason(
    snapshot: Host, limits: dict[str, Any], reason: SkipReason, words: str
) -> None:
    plan = planned(snapshot, **limits)
    assert isinstance(plan, Skipped)
    assert plan.reason is reason
    assert words in plan.detail


def test_btrfs_is_asked_for_the_device_it_lies_on() -> None:
    """stat(2) shows a number of btrfs's own making, of no block device."""
    with mounted_filesystem("btrfs", 200) as mounted:
        folder = os.open(mounted, os.O_RDONLY)
        found = devices_below(folder)
        os.close(folder)
        assert found == [number_of(mounted)]
        assert os.major(mounted.stat().st_dev) == 0


def test_btrfs_over_two_devices_lies_on_neither_alone() -> None:
    require_filesystem("btrfs")
    with tempfile.TemporaryDirectory(dir="/dev/shm") as memory, tempfile.TemporaryDirectory() as at:
        nodes = []
        try:
            for name in ("one", "two"):
                Path(memory, name).touch()
                os.truncate(Path(memory, name), 128 * MIB)
                losetup = ["losetup", "--find", "--show", f"{memory}/{name}"]
                nodes.append(subprocess.check_output(losetup, text=True).strip())
            subprocess.run([*MAKE["btrfs"], *nodes], check=True)
            subprocess.run(["mount", "-o", f"device={nodes[1]}", nodes[0], at], check=True)
            numbers = [(os.major(n), os.minor(n)) for n in (os.stat(x).st_rdev for x in nodes)]
            try:
                with pytest.raises(OwnFileError) as caught:
                    open_folder([at], numbers)
            finally:
                subprocess.run(["umount", at], check=True)
        finally:
            for node in nodes:
                subprocess.run(["losetup", "--detach", node], check=True)
    assert caught.value.step == "place"
    assert " and " in caught.value.found


def test_an_overlay_over_the_right_filesystem_is_not_that() -> None:
    with mounted_filesystem("ext4", 64) as below:
        for name in ("lower", "upper", "work", "merged"):
            (below / name).mkdir()
        layers = f"lowerdir={below}/lower,upperdir={below}/upper,workdir={below}/work"
        merged = below / "merged"
        done = subprocess.run(
            ["mount", "-t", "overlay", "-o", layers, "overlay", merged], check=False
        )
        if done.returncode:
            pytest.skip("overlay cannot be mounted here")
        try:
            with pytest.raises(OwnFileError, match="merged lies on 0:"):
                open_folder([str(merged)], [number_of(below)])
        finally:
            subprocess.run(["umount", merged], check=True)


def test_an_encrypted_directory_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(own_file, "flags_of", lambda _: ENCRYPTED)
    number = number_of(tmp_path)
    folder = open_folder([str(tmp_path)], [number])
    order = own_file.Order(MIB, True, 1 << 62, MIB)
    with pytest.raises(OwnFileError, match="encrypted by its filesystem"):
        own_file.obtain(folder, order, memoryview(bytearray(24)).cast("Q"))
    os.close(folder.fd)
    assert list(tmp_path.iterdir()) == []
