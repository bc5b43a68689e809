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
from lab.qemu import command_line
from lab.qmp import Monitor

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
            memory_fds = _memory_files(machine, files)
            arguments = command_line(
                machine,
                image,
                environment=environment,
                monitor_fd=monitor_end.fileno(),
                agent_fd=agent_end.fileno(),
                memory_fds=memory_fds,
            )
            fds = (monitor_end.fileno(), agent_end.fileno(), *memory_fds.values())
            self._process = self._start(arguments, fds)
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


def _memory_files(machine: Machine, files: ExitStack) -> dict[str, int]:
    """One anonymous memory file per drive with contents in RAM: freed with its last user."""
    fds = {}
    for drive in machine.drives:
        if drive.contents is Contents.RAM:
            fd = os.memfd_create(drive.name)
            files.callback(os.close, fd)
            _fill(fd, drive)
            fds[drive.name] = fd
    return fds


def _fill(fd: int, drive: Drive) -> None:
    """The same bytes at each boot; one random MiB over and over, which no drive can tell."""
    block = random.Random(drive.name).randbytes(MIB)
    for start in range(0, drive.size_bytes, MIB):
        os.pwrite(fd, block[: drive.size_bytes - start], start)
