"""Devices whose reading process is stuck in the kernel, where no signal reaches it."""

from __future__ import annotations

import subprocess
import threading


class Quarantine:
    """Remembers abandoned children until they end, and reaps them then.

    A second reader of a hung drive would hang as well, so a device is asked for
    here before each probe. Safe from several threads.
    """

    def __init__(self) -> None:
        self._stuck: dict[str, subprocess.Popen[bytes]] = {}
        self._lock = threading.Lock()

    def add(self, device: str, process: subprocess.Popen[bytes]) -> None:
        with self._lock:
            self._stuck[device] = process

    def stuck(self) -> dict[str, int]:
        """The process id that still hangs on each device; ended ones are reaped and forgotten."""
        with self._lock:
            self._stuck = {
                device: process for device, process in self._stuck.items() if process.poll() is None
            }
            return {device: process.pid for device, process in self._stuck.items()}
