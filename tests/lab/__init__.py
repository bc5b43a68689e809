"""The VM lab: a real md kernel in QEMU, described in Python, to test the agent on."""

from lab.command import Completed, Running
from lab.guest import Guest
from lab.host import LabError
from lab.machine import KIB, MIB, ArraySpec, Contents, Drive, Machine, Transport, Uplink

__all__ = [
    "KIB",
    "MIB",
    "ArraySpec",
    "Completed",
    "Contents",
    "Drive",
    "Guest",
    "LabError",
    "Machine",
    "Running",
    "Transport",
    "Uplink",
]
