"""What the agent could do harm to, and looking whether it did: one machine and its witnesses."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

from lab.agent import AMPLE_BUDGET
from lab.filesystems import add_files, checksums, mounted
from lab.guest import Guest
from lab.machine import KIB, MIB, ArraySpec, BadRange, Drive, Machine, Transport

RATE = 60_000_000
BAD = BadRange(start_bytes=6 * MIB, length_bytes=4 * MIB)
"""So much of a drive of 16 MiB that no burst, spread over it as it is, can miss it."""

FILLED = ArraySpec(name="md0", level="raid0", members=("alder", "birch"), chunk_bytes=64 * KIB)
UNREADABLE = ("damson", "elder")
BY_FILE = "fir"
"""Measured through an own file where that is wanted."""
LONE = "gorse"
_TRANSPORTS = {
    "alder": Transport.VIRTIO,
    "birch": Transport.AHCI,
    "damson": Transport.VIRTIO,
    "elder": Transport.NVME,
    BY_FILE: Transport.NVME,
    LONE: Transport.VIRTIO,
}
MACHINE = Machine(
    drives=tuple(
        Drive(
            name=name,
            transport=transport,
            bytes_per_second=RATE,
            size_bytes=16 * MIB if name in UNREADABLE else 32 * MIB,
            bad_range=BAD if name in UNREADABLE else None,
        )
        for name, transport in _TRANSPORTS.items()
    ),
    arrays=(FILLED,),
)

STATE = "/var/lib/arraygauge"
RECORD = frozenset(
    f"{STATE}/history.sqlite{ending}" for ending in ("", "-wal", "-shm", "-journal", ".lock")
)
"""The record and what belongs to it while it is open, or was not closed:
https://www.sqlite.org/tempfiles.html."""
OWN_FILE_BYTES = 4 * MIB
OWN_FILE = "arraygauge-probe-4MiB.random"
QUICK = (
    "[probe]\nlongest_burst_seconds = 0.3\nmax_seconds = 0.6\ninterval_half_width = 0.2\n"
    + AMPLE_BUDGET
)
"""As little as a drive can be asked for; the rate does not matter here."""
ENDED_SECONDS = 5
FILES = 40
"""Of 1 MiB: most of what the array has room for."""

Found = TypeVar("Found")
_STUCK = re.compile(r"^ *\d+ Z[a-zA-Z+<]*l\S* +python")


def processes(guest: Guest) -> list[str]:
    """The agent's processes but for those that ``start_module`` forked: id, state, command line.

    A process that was killed and has threads in the kernel that do not end is a zombie with
    threads, and shows no command line any more: proc(5).
    """
    found = guest.run(["ps", "-eo", "pid=,stat=,comm=,args="]).checked().stdout.splitlines()
    return [line for line in found if "arraygauge" in line or _STUCK.search(line)]


def wait_for(look: Callable[[], Found], what: str, seconds: float = 60) -> Found:
    """What ``look`` finds, as soon as that is true."""
    deadline = time.monotonic() + seconds
    while not (found := look()):
        assert time.monotonic() < deadline, f"not within {seconds} s: {what}"
        time.sleep(0.1)
    return found


def assert_nothing_runs(guest: Guest) -> None:
    """No process of the agent's is left, or they end within moments."""
    wait_for(lambda: not processes(guest), "all processes of the agent ended", ENDED_SECONDS)


def files(guest: Guest, *directories: str) -> frozenset[str]:
    """All files below, by path."""
    found = guest.run(["find", *directories, "-xdev", "-type", "f"]).stdout
    return frozenset(found.splitlines())


@contextmanager
def refusing_raw_reads(guest: Guest, device: str) -> Iterator[None]:
    """The drive's node cannot be opened, by root neither: EACCES, as on a filesystem mounted
    nodev (mount(8))."""
    guest.run(
        "mkdir -p /run/nodev && mount -t tmpfs -o nodev none /run/nodev && "
        f"mknod /run/nodev/{device} b $(stat -c '0x%t 0x%T' /dev/{device}) && "
        f"mount --bind /run/nodev/{device} /dev/{device}"
    ).checked()
    try:
        yield
    finally:
        guest.run(f"umount /dev/{device} && umount /run/nodev").checked()


@contextmanager
def with_own_files(guest: Guest) -> Iterator[tuple[str, str]]:
    """A drive that refuses raw reads, with a filesystem on it for an own file: its device name
    and the directory."""
    device = guest.device(BY_FILE)
    with mounted(guest, device) as directory, refusing_raw_reads(guest, device):
        yield device, f"{directory}/own"


@contextmanager
def filled(guest: Guest) -> Iterator[None]:
    """The array holds a filesystem full of files, and they are the same in the end."""
    with mounted(guest, FILLED.name) as directory:
        add_files(guest, directory, count=FILES)
        before = checksums(guest, directory)
        assert len(set(before.values())) == FILES
        yield
        assert checksums(guest, directory) == before


def own_file_config(directory: str, manner: str = QUICK) -> str:
    """The configuration for measuring through a file in the directory."""
    lines = f"own_file_bytes = {OWN_FILE_BYTES}\nown_file_directories = [{directory!r}]\n"
    return manner.replace("[budget]", f"{lines}[budget]")


def fetch(guest: Guest, path: str) -> str:
    """What a running agent serves there."""
    return guest.run(["busybox", "wget", "-qO-", f"http://127.0.0.1:9847/{path}"]).stdout


def metric(guest: Guest, name: str) -> list[float]:
    """The values of a metric that a running agent serves."""
    lines = [line for line in fetch(guest, "metrics").splitlines() if line.startswith(name)]
    return [float(line.rpartition(" ")[2]) for line in lines]


def served(guest: Guest) -> list[dict[str, Any]]:
    """The incidents that a running agent serves."""
    incidents: list[dict[str, Any]] = json.loads(fetch(guest, "incidents.json"))["incidents"]
    return incidents
