"""Whether the kernel has put a device to sleep: looking must not wake it.

Kernel document: Documentation/ABI/testing/sysfs-devices-power, power/runtime_status.
"""

from __future__ import annotations

from arraygauge.inventory.tree import Reader

_ASLEEP = frozenset({"suspended", "suspending"})


def is_asleep(reader: Reader, directory: str) -> bool:
    """Whether the device of this sysfs directory sleeps, or is about to.

    Only sleep that the kernel ordered: a drive that stopped its motor by its own timer
    says so only when asked, and is not asked.
    """
    return reader.text(f"{directory}/power/runtime_status") in _ASLEEP
