"""Whatever a machine's files hold, reading them ends with a snapshot, never with an exception."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from arraygauge.inventory import BlockDevice, ProblemKind
from arraygauge.inventory.host import read_host
from arraygauge.inventory.tree import Reader, Tree
from captured.machines import lay_out

MACHINES = (
    *("lab_degraded", "lab_transports", "lab_stacked"),
    *("handwritten_sas", "handwritten_pcie", "handwritten_odd"),
)
DAMAGE = st.sampled_from(("content", "removed", "directory", "loop", "away", "pipe"))

Laid = tuple[Tree, tuple[Path, ...]]


@pytest.fixture(scope="module", params=MACHINES)
def laid(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Laid:
    """A machine's tree and every file and link in it, laid out once and repaired after each use."""
    tree = lay_out(request.param, tmp_path_factory.mktemp("machine"))
    paths = (path for path in tree.root.rglob("*") if path.is_symlink() or path.is_file())
    return tree, tuple(sorted(paths))


@contextmanager
def damaged(path: Path, how: str, content: bytes) -> Iterator[None]:
    """The path spoilt in one way, and put right afterwards."""
    aside = path.with_name(path.name + ".aside")
    os.rename(path, aside)
    try:
        match how:
            case "content":
                path.write_bytes(content)
            case "directory":
                path.mkdir()
            case "loop":
                path.symlink_to(path.name)
            case "away":
                path.symlink_to("/etc")
            case "pipe":
                os.mkfifo(path)
        yield
    finally:
        if path.is_dir() and not path.is_symlink():
            path.rmdir()
        else:
            path.unlink(missing_ok=True)
        os.rename(aside, path)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_any_damage_to_any_file_gives_a_snapshot(laid: Laid, data: st.DataObject) -> None:
    tree, paths = laid
    path = data.draw(st.sampled_from(paths))
    with damaged(path, data.draw(DAMAGE), data.draw(st.binary(max_size=80))):
        host = read_host(tree)
    assert all(problem.detail for problem in host.problems)
    assert all(isinstance(device.size_bytes, int | None) for device in host.devices)


def test_a_tree_of_rubbish_gives_a_snapshot(laid: Laid, tmp_path: Path) -> None:
    """Every file at once: first random-looking bytes, then nothing."""
    tree, _ = laid
    for content in (b"\xff\x00[]() / : - \n" * 3, b""):
        copy = tmp_path / str(len(content))
        shutil.copytree(tree.root, copy, symlinks=True)
        for path in copy.rglob("*"):
            if path.is_file() and not path.is_symlink():
                path.write_bytes(content)
        read_host(Tree(root=copy))


def test_an_empty_tree_is_a_machine_without_devices(tmp_path: Path) -> None:
    host = read_host(Tree(root=tmp_path))
    assert (host.devices, host.arrays, host.links) == ((), (), ())
    assert (host.name, host.boot_id, host.kernel) == ("unknown", None, None)


def vanish_at(monkeypatch: pytest.MonkeyPatch, trigger: str, vanish: Callable[[], None]) -> None:
    """Lets ``vanish`` happen just before the file named ``trigger`` is read."""
    read = Reader.text

    def text(self: Reader, path: str, *, expected: bool = False) -> str | None:
        if path == trigger:
            vanish()
        return read(self, path, expected=expected)

    monkeypatch.setattr(Reader, "text", text)


def test_a_drive_unplugged_while_it_is_read_is_left_out_and_noted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tree = lay_out("lab_levels", tmp_path)
    link = tmp_path / "sys/class/block/sdb"

    def unplug() -> None:
        shutil.rmtree(link.resolve())
        link.unlink()

    vanish_at(monkeypatch, "/sys/class/block/sdb/size", unplug)
    host = read_host(tree)
    assert host.device("sdb") is None
    assert host.device("sda") is not None
    assert ("/sys/class/block/sdb", ProblemKind.VANISHED) in [
        (problem.path, problem.kind) for problem in host.problems
    ]
    array = host.array("md10")
    assert array is not None
    assert [member.present for member in array.members] == [True, False, True, True]


def test_an_array_stopped_while_it_is_read_is_left_out_and_noted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tree = lay_out("lab_levels", tmp_path)
    md = tmp_path / "sys/devices/virtual/block/md5/md"
    vanish_at(monkeypatch, "/sys/class/block/md5/md/array_state", lambda: shutil.rmtree(md))
    host = read_host(tree)
    assert host.array("md5") is None
    assert host.array("md6") is not None
    assert ("/sys/class/block/md5/md", ProblemKind.VANISHED) in [
        (problem.path, problem.kind) for problem in host.problems
    ]


def test_a_file_refused_is_named_and_costs_only_its_own_value(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tree = lay_out("lab_levels", tmp_path)
    open_file = os.open

    def refuse(path: str, flags: int) -> int:
        if path.endswith("md5/md/degraded"):
            raise PermissionError(13, "Permission denied")
        return open_file(path, flags)

    monkeypatch.setattr(os, "open", refuse)
    host = read_host(tree)
    (problem,) = host.problems
    assert (problem.path, problem.kind) == (
        "/sys/class/block/md5/md/degraded",
        ProblemKind.DENIED,
    )
    array = host.array("md5")
    assert array is not None
    assert array.degraded == 0  # mdstat says [3/3]
    assert array.sync_action is not None


def test_an_array_only_mdstat_knows_is_reported_from_it(tmp_path: Path) -> None:
    tree = lay_out("lab_degraded", tmp_path)
    (tmp_path / "sys/class/block/md2").unlink()
    array = read_host(tree).array("md2")
    assert array is not None
    assert (array.level_text, array.raid_disks, array.degraded) == ("raid5", 3, 1)
    assert array.sync_action == "recover"
    assert {member.name for member in array.members} == {"vdf1", "vdg1", "vdh1"}
    assert all(member.slot is None for member in array.members)  # mdstat prints no slots


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Every path handed to open, as it happens."""
    paths: list[str] = []
    open_file = os.open

    def watch(path: str, flags: int) -> int:
        paths.append(path)
        return open_file(path, flags)

    monkeypatch.setattr(os, "open", watch)
    return paths


def test_no_device_node_is_ever_opened(tmp_path: Path, opened: list[str]) -> None:
    read_host(lay_out("lab_stacked", tmp_path))
    assert len(opened) > 100
    assert all(path.startswith((f"{tmp_path}/sys/", f"{tmp_path}/proc/")) for path in opened)


def test_journal_mode_is_never_opened(tmp_path: Path, opened: list[str]) -> None:
    """Reading it takes the array's mutex: on a hung array it would not return."""
    read_host(lay_out("lab_levels", tmp_path))
    assert any(path.endswith("md5/md/stripe_cache_size") for path in opened)
    assert not any(path.endswith("/journal_mode") for path in opened)


@pytest.mark.parametrize("machine", ["handwritten_sata", "handwritten_pcie"])
def test_a_temperature_is_found_and_never_read(
    tmp_path: Path, opened: list[str], machine: str
) -> None:
    """Reading it is a command to the drive: it would wait for a hung one, or wake one."""
    host = read_host(lay_out(machine, tmp_path))
    assert any(device.temperature_file for device in host.devices)
    assert any("/hwmon" in path for path in opened)
    assert not any(path.endswith("temp1_input") for path in opened)


def names(devices: tuple[BlockDevice, ...]) -> list[str]:
    return [device.name for device in devices]


def test_devices_come_in_the_order_people_count(tmp_path: Path) -> None:
    host = read_host(lay_out("lab_levels", tmp_path))
    found = names(host.devices)
    assert found.index("md5") < found.index("md10") < found.index("nvme0n1") < found.index("vda")
