"""The QEMU process: started, watched and always ended.

The kernel ends it when the process that started it dies (PR_SET_PDEATHSIG, by
setpriv(1)), so that not even a killed test run leaves a guest behind. Precisely, when
the thread that started it ends: boot machines from the main thread.
"""

from __future__ import annotations

import os
import random
import socket
import subprocess
import tempfile
from contextlib import ExitStack
from typing import IO

from lab.host import LabError, require_command
from lab.image import Image
from lab.machine import MIB, Contents, Drive, Machine
from lab.mapping import mapping
from lab.qemu import command_line
from lab.qmp import Monitor
from lab.stores import Store, store_fds

CONSOLE_TAIL_BYTES = 8000


class Emulator:
    """One running QEMU with its monitor, the socket of the guest agent and the console log."""

    def __init__(self, machine: Machine, image: Image, environment: dict[str, str]) -> None:
        """Starts QEMU; LabError with its words when it does not come up."""
        self._console: IO[bytes] = tempfile.TemporaryFile()  # noqa: SIM115 - closed by stop()
        monitor, monitor_end = socket.socketpair()
        self.agent, agent_end = socket.socketpair()
        self._sockets = (monitor, self.agent)
        with monitor_end, agent_end, ExitStack() as files:
            stores = _memory_files(machine, files)
            arguments = command_line(
                machine,
                image,
                environment=environment,
                monitor_fd=monitor_end.fileno(),
                agent_fd=agent_end.fileno(),
                stores=stores,
            )
            fds = (monitor_end.fileno(), agent_end.fileno(), *store_fds(stores))
            self._process = self._start(arguments, fds)
            # While the guest boots: filling takes seconds, and it looks at its drives late.
            for drive in machine.drives:
                if drive.contents is Contents.RAM:
                    _fill(stores[drive.name].data_fd, drive)
        try:
            self.monitor = Monitor(monitor)
        except (LabError, OSError) as error:
            words = self.console()
            self.stop()
            raise LabError(f"QEMU did not start: {error}\n{words}") from error

    def _start(self, arguments: list[str], fds: tuple[int, ...]) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            [
                *(require_command("setpriv"), "--pdeathsig", "KILL"),
                *(require_command("qemu-system-x86_64"), *arguments),
            ],
            stdin=subprocess.DEVNULL,
            stdout=self._console,
            stderr=subprocess.STDOUT,
            pass_fds=fds,
        )

    @property
    def process_id(self) -> int:
        """Of the QEMU process."""
        return self._process.pid

    def alive(self) -> bool:
        """Whether QEMU is still running."""
        return self._process.poll() is None

    def console(self) -> str:
        """The end of what the guest's kernel and init, and QEMU itself, have said."""
        fd = self._console.fileno()
        start = max(0, os.fstat(fd).st_size - CONSOLE_TAIL_BYTES)
        return os.pread(fd, CONSOLE_TAIL_BYTES, start).decode(errors="replace").replace("\r", "")

    def stop(self) -> None:
        """Ends QEMU at once: nothing in a lab machine is worth saving. May be called again."""
        self._process.kill()
        self._process.wait()
        for connection in self._sockets:
            connection.close()
        self._console.close()


def _memory_files(machine: Machine, files: ExitStack) -> dict[str, Store]:
    """Anonymous memory files for each drive with contents in RAM: freed with their last user."""

    def memory_file(name: str) -> int:
        fd = os.memfd_create(name)
        files.callback(os.close, fd)
        return fd

    stores = {}
    for drive in machine.drives:
        if drive.contents is not Contents.NULL:
            data_fd, map_fd = memory_file(drive.name), None
            os.ftruncate(data_fd, drive.size_bytes)
            if drive.mapped is not None:
                map_fd = memory_file(f"{drive.name}-map")
                os.pwrite(map_fd, mapping(drive.size_bytes, drive.mapped), 0)
            stores[drive.name] = Store(data_fd=data_fd, map_fd=map_fd)
    return stores


def _fill(fd: int, drive: Drive) -> None:
    """The same bytes at each boot; one random MiB over and over, which no drive can tell."""
    block = random.Random(drive.name).randbytes(MIB)
    for start in range(0, drive.size_bytes, MIB):
        os.pwrite(fd, block[: drive.size_bytes - start], start)
