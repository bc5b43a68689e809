"""Whether a name still stands for the disk it stood for.

Kernel document: Documentation/ABI/testing/sysfs-block (or stable), diskseq: a number that
grows with every disk that appears, so that a name given again is told from the one before.
"""

from __future__ import annotations

from arraygauge.inventory.scalars import parse_count
from arraygauge.inventory.tree import Reader, Tree

_BLOCK = "/sys/class/block"


def read_disk_sequence(name: str, tree: Tree | None = None) -> int | None:
    """The sequence number of the disk of this kernel name; None where it is gone, or a
    partition, or the kernel has no such numbers."""
    return Reader(tree or Tree()).value(f"{_BLOCK}/{name}/diskseq", parse_count)
