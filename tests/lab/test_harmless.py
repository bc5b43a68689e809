"""The agent harms nothing, whatever drives and filesystems do to it, and says what they did."""

from __future__ import annotations

import json
import signal
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from lab.agent import CONFIG, check
from lab.command import Running
from lab.filesystems import fill_up, mounted
from lab.guest import Guest
from lab.harm import (
    BY_FILE,
    LONE,
    MACHINE,
    OWN_FILE,
    QUICK,
    RECORD,
    STATE,
    files,
    metric,
    own_file_config,
    wait_for,
    with_own_files,
)
from lab.machine import ArraySpec, Machine
from lab.tracing import Traced, start_traced

pytestmark = pytest.mark.lab

MEASURED = ("completed", "budget spent")
EVERY_SECOND = "[run]\ninterval_seconds = 1\n"
SHUTDOWN_SECONDS = 2
PASSES = "arraygauge_passes_total"


@pytest.fixture
def guest(boot_lab: Callable[[Machine], Guest]) -> Guest:
    """The machine that all of these share; the agent remembers nothing."""
    guest = boot_lab(MACHINE)
    guest.run(["rm", "-f", *RECORD]).checked()
    return guest


def measured(document: dict[str, Any], kind: str) -> dict[str, dict[str, Any]]:
    """What came of measuring each, by name."""
    return {each["name"]: each["measured"] for each in document[kind]}


def test_read_errors_are_told_and_give_md_no_reason_to_let_go_of_a_member(guest: Guest) -> None:
    """In the end the arrays are read through md, to see that it would have cost the members.

    NVMe calls a medium that cannot be read ENODATA (drivers/nvme/host/core.c).
    """
    bad = {"md1": guest.device("damson"), "md2": guest.device("elder")}
    good = {"md1": guest.device(LONE), "md2": guest.device(BY_FILE)}
    for array, drives in (("md1", ("damson", LONE)), ("md2", ("elder", BY_FILE))):
        guest.create(ArraySpec(name=array, level="raid1", members=drives, chunk_bytes=0))
    before = {array: guest.read(f"/sys/block/{array}/stat").split()[0] for array in bad}
    status, document = check(guest, *bad, config=QUICK)
    found = measured(document, "devices") | measured(document, "arrays")
    assert status == 5
    for array, word in (("md1", "EIO"), ("md2", "ENODATA")):
        assert found[bad[array]]["outcome"] == "read error"
        assert word in found[bad[array]]["detail"]
        assert found[good[array]]["outcome"] in MEASURED
        assert found[array]["reason"] == "member unreadable"
        assert guest.read(f"/sys/block/{array}/stat").split()[0] == before[array]
        for member in (bad[array], good[array]):
            assert guest.read(f"/sys/block/{array}/md/dev-{member}/state") == "in_sync\n"
            assert guest.read(f"/sys/block/{array}/md/dev-{member}/errors") == "0\n"
    again = "cat /dev/md1 /dev/md2 >/dev/null; echo 3 >/proc/sys/vm/drop_caches"
    guest.run(f"for n in 1 2 3 4; do {again}; done")
    for array, member in bad.items():
        assert "faulty" in guest.read(f"/sys/block/{array}/md/dev-{member}/state")
        guest.stop(array)


def stop(agent: Running) -> int:
    """SIGTERM: the exit status, in time."""
    began = time.monotonic()
    agent.signal(signal.SIGTERM)
    status = agent.wait(20).status
    assert time.monotonic() - began < SHUTDOWN_SECONDS
    return status


@pytest.fixture
def small_disk(guest: Guest) -> Iterator[str]:
    """What the agent remembers is to go to a filesystem of its own: its directory."""
    with mounted(guest, guest.device(LONE)) as directory:
        guest.run(f"mkdir {directory}/state && mount --bind {directory}/state {STATE}").checked()
        yield directory
        guest.run(f"umount {STATE}").checked()


def test_a_full_filesystem_under_the_record_is_told_and_all_is_measured(
    guest: Guest, small_disk: str
) -> None:
    name = guest.device("alder")
    guest.write(CONFIG, QUICK)
    command = ("arraygauge", "--config", CONFIG, "check", "--json", name)
    guest.run_module(*command)
    assert files(guest, STATE) & RECORD
    fill_up(guest, small_disk)
    done = guest.run_module(*command)
    assert f"{STATE}/history.sqlite" in done.stderr
    assert "free some space" in done.stderr
    assert measured(json.loads(done.stdout), "devices")[name]["outcome"] in MEASURED


def test_a_full_filesystem_under_the_own_file_is_told_and_nothing_is_left_there(
    guest: Guest,
) -> None:
    with with_own_files(guest) as (name, directory):
        fill_up(guest, directory.rpartition("/")[0])
        other = guest.device("birch")
        status, document = check(guest, name, other, config=own_file_config(directory))
        drives = measured(document, "devices")
        assert (status, drives[name]["reason"]) == (5, "no place for an own file")
        assert "free some space" in drives[name]["detail"]
        assert drives[other]["outcome"] in MEASURED
        assert files(guest, directory) == frozenset()


def test_no_device_is_opened_for_writing_nor_any_file_but_the_agents_own(guest: Guest) -> None:
    """A whole `check` and a whole cycle of `run`, all their processes together."""
    with with_own_files(guest) as (name, directory):
        guest.write(CONFIG, own_file_config(directory) + EVERY_SECOND)
        command = f"python -m arraygauge --config {CONFIG}"
        traced = start_traced(guest, ["sh", "-c", f"{command} check; exec {command} run"])
        traced.running.wait_for_output("metrics at", 180)
        wait_for(lambda: sum(metric(guest, PASSES)), "a whole pass", 120)
        traced.running.signal(signal.SIGTERM)
        assert traced.wait(20).status == 0
        assert_harmless(guest, traced, name, directory)


def assert_harmless(guest: Guest, traced: Traced, by_file: str, directory: str) -> None:
    opens = [made for made in traced.opens("/") if "/__pycache__/" not in made.path]
    nodes = {f"/dev/{guest.device(drive.name)}" for drive in MACHINE.drives} | {"/dev/md0"}
    raw = [made for made in opens if made.path in nodes]
    assert {made.path for made in raw} == nodes
    assert not [made for made in raw if made.for_writing]
    own = {f"{directory}/{OWN_FILE}", f"{directory}/.{OWN_FILE}.partial"}
    written = {made.path for made in opens if made.for_writing}
    assert written - {"/dev/null"} <= RECORD | own
    assert written & own, "what its children open is seen"
    assert traced.rings() == 0
    assert {made.error for made in raw if made.path == f"/dev/{by_file}"} == {"EACCES"}
