"""A lab machine with systemd as PID 1, in which the agent is installed as a service."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from typing import Any

from lab.channel import READY
from lab.guest import BOOT_SECONDS, Guest
from lab.host import HERE
from lab.image import build
from lab.machine import Machine
from lab.systemd_image import disk

UNIT = "arraygauge.service"
CONFIG = "/etc/arraygauge/config.toml"
ADDRESS = "http://127.0.0.1:9847"
SETTLED_SECONDS = 120
"""Until all that is started at boot has been, emulated as it is."""

Entry = dict[str, Any]

FETCH = """
import sys, urllib.request
sys.stdout.write(urllib.request.urlopen(sys.argv[1], timeout=20).read().decode())
"""


class SystemdGuest(Guest):
    """As a ``Guest``, but of a Debian of its own on a disk, whose changes end with the machine
    and not with a reboot. Commands run as root in a service of systemd's."""

    def __init__(self, machine: Machine) -> None:
        """Boots; see ``Guest``. Returns when systemd has started all it had to."""
        self._boots = 1
        super().__init__(machine, build(HERE / "systemd_init.sh", disk()))
        self._emulator.monitor.execute("set-action", reboot="reset")
        self.settle()

    def settle(self) -> None:
        """Waits until systemd has nothing left to start."""
        self.run("systemctl is-system-running --wait", SETTLED_SECONDS)

    def reboot(self) -> float:
        """Has systemd restart the machine; seconds until that has settled. Arrays are gone."""
        began = time.monotonic()
        self._arrays.clear()
        self.start("systemctl reboot")
        self._channel.answer(READY, self._boots, began + 2 * BOOT_SECONDS)
        self._boots += 1
        self.settle()
        self._find_drives()
        return time.monotonic() - began

    def systemctl(self, *words: str, timeout_seconds: float = 90) -> str:
        """What systemctl says; LabError when it fails."""
        return self.run(["systemctl", *words], timeout_seconds).checked().stdout

    def shown(self, *properties: str) -> dict[str, str]:
        """Properties of the agent's unit: org.freedesktop.systemd1(5)."""
        lines = self.systemctl("show", f"--property={','.join(properties)}", UNIT).splitlines()
        return dict(line.split("=", 1) for line in lines)

    def drop_in(self, text: str | None) -> None:
        """Overrides settings of the agent's unit, until the next boot or None."""
        path = f"/run/systemd/system/{UNIT}.d/lab.conf"
        if text is None:
            self.run(["rm", "-f", path]).checked()
        else:
            self.write(path, text)
        self.systemctl("daemon-reload")

    def journal(self, *matches: str) -> list[Entry]:
        """Entries of the journal, the oldest first."""
        command = ["journalctl", "--output=json", "--no-pager", "--all", *matches]
        return [json.loads(line) for line in self.run(command).checked().stdout.splitlines()]

    def fetch(self, path: str) -> str:
        """What the agent serves, asked for inside the guest; LabError when it does not."""
        return self.run(["python3", "-I", "-S", "-c", FETCH, ADDRESS + path]).checked().stdout

    def wait_for(self, what: str, wanted: Callable[[], bool], seconds: float) -> float:
        """Seconds until it is so; AssertionError when that takes longer than allowed."""
        began = time.monotonic()
        while not wanted():
            if time.monotonic() - began > seconds:
                raise AssertionError(f"not within {seconds} s: {what}\n{self.last_words()}")
            time.sleep(0.2)
        return time.monotonic() - began

    def last_words(self) -> str:
        """The end of what the journal has of the agent's unit, for reports of failures."""
        command = ["journalctl", "--no-pager", "--lines=40", "--unit", UNIT]
        return self.run(command).stdout
