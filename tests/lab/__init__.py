"""The VM lab: a real md kernel in QEMU, described in Python, to test the agent on."""

from lab.command import Completed, Running
from lab.guest import Guest
from lab.host import LabError
from lab.hypervisor import DriveCounters
from lab.machine import (
    KIB,
    MIB,
    ArraySpec,
    BadRange,
    Contents,
    Drive,
    Machine,
    Mapped,
    Transport,
    Uplink,
)

__all__ = [
    "KIB",
    "MIB",
    "ArraySpec",
    "BadRange",
    "Completed",
    "Contents",
    "Drive",
    "DriveCounters",
    "Guest",
    "LabError",
    "Machine",
    "Mapped",
    "Running",
    "Transport",
    "Uplink",
]
