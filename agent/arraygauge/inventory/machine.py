"""Which machine this is: proc(5), sys/kernel."""

from __future__ import annotations

from arraygauge.inventory.scalars import parse_label
from arraygauge.inventory.tree import Reader, Tree
from arraygauge.values import frozen

_BOOT_ID = "/proc/sys/kernel/random/boot_id"


@frozen
class Machine:
    """Name, boot and kernel; the boot id changes with every boot."""

    name: str
    boot_id: str | None
    kernel: str | None


def read_machine(reader: Reader) -> Machine:
    """The machine's own words; 'unknown' where it has no name."""
    kernel = "/proc/sys/kernel"
    return Machine(
        name=reader.value(f"{kernel}/hostname", parse_label) or "unknown",
        boot_id=reader.value(_BOOT_ID, parse_label),
        kernel=reader.value(f"{kernel}/osrelease", parse_label),
    )


def read_boot_id(tree: Tree | None = None) -> str | None:
    """Only the boot id, for what must be dated before anything else is read."""
    return Reader(tree or Tree()).value(_BOOT_ID, parse_label)
