"""The handle of a running lab machine: commands and files inside it, changes to it live."""

from __future__ import annotations

import errno
import sys
import time
from collections.abc import Sequence
from contextlib import ExitStack
from typing import Self

from lab import arrays
from lab.channel import Channel
from lab.command import Completed, Running
from lab.emulator import Emulator
from lab.host import HERE, REPOSITORY, LabError
from lab.hypervisor import DriveCounters, Hypervisor
from lab.image import Image, build
from lab.machine import ArraySpec, Machine, Transport

BOOT_SECONDS = 90
DRIVES_SECONDS = 30
KILLED_SECONDS = 10
HUNG_REQUEST_MILLISECONDS = 3_600_000
USUAL_REQUEST_MILLISECONDS = 30_000

DEPENDENCIES = (
    *("asyncio", "http.server", "logging", "sqlite3", "tomllib"),
    *("click", "psutil", "pydantic.main", "pyudev"),
    *("rich.console", "rich.progress", "rich.table"),
    *("arraygauge.cli.check", "arraygauge.cli.run", "arraygauge.cli.trial"),
)
"""Imported beforehand in the interpreter that ``start_module`` forks."""

# ATA drives show their serial number only as a page of SCSI vital product data.
LIST_SERIALS = r"""
cd /sys/block
for device in [!lmr]*; do
  serial=$(cat "$device/serial" 2>/dev/null || cat "$device/device/serial" 2>/dev/null ||
    tail -c +5 "$device/device/vpd_pg80" 2>/dev/null)
  echo $serial "$device"
done
"""


class Guest:
    """One booted machine. Use it in a ``with`` block or ``close`` it.

    Commands run as root in the host's own file system, which the guest sees through a
    writable layer in memory: nothing reaches the host. /tmp, /run and /var/lib/arraygauge
    are empty file systems in memory, /dev, /proc and /sys the guest kernel's. The working
    directory is the repository; PATH begins with the virtual environment of the tests.
    """

    def __init__(self, machine: Machine, image: Image | None = None) -> None:
        """Boots; LabError with the console's last words when that fails or takes too long."""
        self.machine = machine
        self._damaged = False
        self._hung: set[str] = set()
        self._unplugged: dict[str, str] = {}
        """Drives that are away; for one on AHCI the number of the SCSI host to ask for it."""
        self._arrays: set[str] = set()
        self._devices: dict[str, str] = {}
        self._emulator = Emulator(
            machine,
            image or build(),
            {
                "LAB_PYTHON": sys.executable,
                "LAB_AGENT": str(HERE / "guest_agent.py"),
                "LAB_REPOSITORY": str(REPOSITORY),
            },
        )
        self._hypervisor = Hypervisor(machine, self._emulator.monitor)
        self._channel = Channel(self._emulator.agent)
        with ExitStack() as on_failure:
            on_failure.callback(self.close)
            self._come_up()
            on_failure.pop_all()

    def _come_up(self) -> None:
        try:
            self._channel.wait_ready(BOOT_SECONDS)
            self._find_drives()
            for spec in self.machine.arrays:
                self.create(spec)
        except (LabError, OSError) as error:
            words = f"the lab machine did not come up: {error}\n{self.console()}"
            raise LabError(words) from error

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Ends the machine at once. May be called again."""
        self._emulator.stop()

    @property
    def process_id(self) -> int:
        """Of the QEMU process on the host."""
        return self._emulator.process_id

    def console(self) -> str:
        """The end of the console log, for reports of failures."""
        return self._emulator.console()

    # Commands and files

    def start(self, command: str | Sequence[str]) -> Running:
        """Starts a command in the background: a string by /bin/sh, a sequence as it is.

        Its standard input is empty. OSError (as from execve) comes out of ``wait``.
        """
        argv = ["/bin/sh", "-c", command] if isinstance(command, str) else list(command)
        return Running(self._channel, self._channel.request("start", argv=argv))

    def run(self, command: str | Sequence[str], timeout_seconds: float = 60) -> Completed:
        """Runs a command to its end; see ``start`` and ``Running.wait``."""
        return self.start(command).wait(timeout_seconds)

    def start_module(self, module: str, *arguments: str, stdin: str = "/dev/null") -> Running:
        """Like ``python -m MODULE ARGUMENTS``, about 6 s sooner.

        A forked interpreter that has imported ``DEPENDENCIES`` already carries on from
        there. ``stdin`` is a file of the guest, or a pipe with a name, which never ends.
        """
        request = self._channel.request(
            "start_module",
            module=module,
            arguments=arguments,
            imports=DEPENDENCIES,
            stdin=stdin,
        )
        return Running(self._channel, request)

    def run_module(self, module: str, *arguments: str, timeout_seconds: float = 60) -> Completed:
        """Runs a module to its end; see ``start_module`` and ``Running.wait``."""
        return self.start_module(module, *arguments).wait(timeout_seconds)

    def read(self, path: str) -> str:
        """The text of a file; OSError as it happened in the guest."""
        return str(self._channel.ask("read", path=path)["text"])

    def write(self, path: str, text: str) -> None:
        """Writes a file in one go, with missing directories; OSError as it happened."""
        self._channel.ask("write", path=path, text=text)

    # Drives

    def device(self, drive: str) -> str:
        """The block device's name in the guest, such as 'vdb'; kept after it is unplugged."""
        return self._devices[self.machine.drive(drive).name]

    def limit(self, drive: str, bytes_per_second: int) -> None:
        """Changes a drive's rate from now on. No request may then take 30 s: see ``hang``."""
        self._hypervisor.limit(self.machine.drive(drive), bytes_per_second)

    def limit_uplink(self, uplink: str, bytes_per_second: int) -> None:
        """Changes a shared link's rate from now on."""
        self._hypervisor.limit(self.machine.uplink(uplink), bytes_per_second)

    def counters(self, drive: str) -> DriveCounters:
        """What has reached a drive so far, by QEMU's count; LabError when it is unplugged."""
        return self._hypervisor.counters(self.machine.drive(drive))

    def hang(self, drive: str) -> None:
        """Leaves requests to a drive unanswered until ``resume``.

        The guest kernel's own time-out (30 s) is set to an hour: QEMU stands still for good
        when it is told to reset a controller with requests held back.
        """
        self._hung.add(drive)
        self._set_request_timeout(drive, HUNG_REQUEST_MILLISECONDS)
        self._hypervisor.hold(self.machine.drive(drive))

    def resume(self, drive: str) -> None:
        """Ends ``hang``: what was held back is answered at once, then the usual rate holds."""
        self._hypervisor.let_go(self.machine.drive(drive))
        self._set_request_timeout(drive, USUAL_REQUEST_MILLISECONDS)
        self._hung.discard(drive)

    def unplug(self, drive: str, *, reserve_name: bool = False) -> None:
        """Takes a drive away; returns when its block device is gone.

        virtio and NVMe drives by ejecting the PCI device; QEMU cannot take a drive off
        AHCI, so the guest's kernel is told to drop it, with the same effect above libata.
        A drive that hangs has to resume first. With ``reserve_name`` a process keeps the old
        device open, so that the kernel gives its name to nobody else.
        """
        device = self.device(drive)
        self._damaged = True
        if reserve_name:
            self.start(f"exec 3</dev/{device}; echo open; exec sleep inf").wait_for_output("open")
        if self.machine.drive(drive).transport is Transport.AHCI:
            address = self.run(f"readlink /sys/block/{device}/device").checked().stdout
            self._unplugged[drive] = address.rpartition("/")[2].split(":")[0]
            self.write(f"/sys/block/{device}/device/delete", "1")
        else:
            self._unplugged[drive] = ""
            self._hypervisor.eject(self.machine.drive(drive))
        self._wait_until_gone(device)

    def replug(self, drive: str) -> str:
        """Puts an unplugged drive back, contents and serial number kept; its new device name.

        The kernel gives the first name that is free: the old one, unless ``unplug`` reserved
        it or another drive came back first.
        """
        if scsi_host := self._unplugged.pop(drive):
            self.write(f"/sys/class/scsi_host/host{scsi_host}/scan", "- - -")
        else:
            self._hypervisor.insert(self.machine.drive(drive))
        self._find_drives()
        return self.device(drive)

    # Arrays

    def create(self, spec: ArraySpec) -> str:
        """Makes and starts an array; its name. OSError when the kernel refuses."""
        self._arrays.add(spec.name)
        arrays.create(self, self.machine, spec, self._devices)
        return spec.name

    def stop(self, array: str) -> None:
        """Stops an array; returns when its device is gone; OSError EBUSY while it is open."""
        arrays.stop(self, array)
        self._wait_until_gone(array)
        self._arrays.remove(array)

    def fail(self, array: str, drive: str) -> None:
        """Marks a member as failed, as a write error would."""
        self._damaged |= array in {spec.name for spec in self.machine.arrays}
        arrays.fail(self, array, self.device(drive))

    def restore(self) -> bool:
        """Back to the machine as described: commands killed, rates reset, added arrays stopped.

        False when that cannot be: a drive or a described array was lost, an added one stays
        busy, or the guest is gone. Files that were written stay.
        """
        described = {spec.name for spec in self.machine.arrays}
        if self._damaged or described - self._arrays or not self._emulator.alive():
            return False
        self._channel.ask("kill_all")
        for drive in tuple(self._hung):
            self.resume(drive)
        if not all(self._stop_when_free(name) for name in self._arrays - described):
            return False
        for part in self.machine.throttled:
            self._hypervisor.limit(part, part.bytes_per_second)
        return True

    def _stop_when_free(self, array: str) -> bool:
        """Whether it could be stopped; the kernel may still be closing a killed command's files."""
        deadline = time.monotonic() + KILLED_SECONDS
        while time.monotonic() < deadline:
            try:
                self.stop(array)
            except OSError as error:
                if error.errno != errno.EBUSY:
                    raise
                time.sleep(0.05)
            else:
                return True
        return False

    def _wait_until_gone(self, device: str) -> None:
        self.run(f"while [ -e /sys/class/block/{device} ]; do sleep 0.05; done").checked()

    def _set_request_timeout(self, drive: str, milliseconds: int) -> None:
        """Of the block layer; virtio has none: it waits for ever."""
        if self.machine.drive(drive).transport is not Transport.VIRTIO:
            path = f"/sys/block/{self.device(drive)}/queue/io_timeout"
            self.write(path, str(milliseconds))

    def _find_drives(self) -> None:
        """Waits for all drives and learns their names, which depend on who was found first."""
        deadline = time.monotonic() + DRIVES_SECONDS
        wanted = {drive.name for drive in self.machine.drives} - self._unplugged.keys()
        while True:
            listed = self.run(LIST_SERIALS).stdout.splitlines()
            pairs = [line.split() for line in listed if len(line.split()) == 2]
            found = {serial: device for serial, device in pairs if serial in wanted}
            if wanted == found.keys():
                break
            if time.monotonic() > deadline:
                raise LabError(f"the guest did not find {sorted(wanted - found.keys())}")
            time.sleep(0.1)
        self._devices |= found
        for drive, device in found.items():
            rotational = self.machine.drive(drive).rotational
            self.write(f"/sys/block/{device}/queue/rotational", str(int(rotational)))
