"""What one array's sync thread is doing, cheap enough to ask before every burst.

Kernel document: Documentation/admin-guide/md.rst, sync_action.
"""

from __future__ import annotations

from arraygauge.inventory.block_entry import BLOCK_CLASS
from arraygauge.inventory.md_words import parse_sync_action
from arraygauge.inventory.tree import Reader, Tree
from arraygauge.inventory.values import SyncAction


def read_sync_action(name: str, tree: Tree | None = None) -> SyncAction | None:
    """The action of the array of this kernel name (``md0``).

    None for raid0 and linear, which cannot sync, and where there is no such array. A
    sync that waits its turn already has its action's name.
    """
    return Reader(tree or Tree()).value(f"{BLOCK_CLASS}/{name}/md/sync_action", parse_sync_action)
