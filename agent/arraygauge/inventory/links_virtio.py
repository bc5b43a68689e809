"""virtio: a queue in the host's memory. It has no rate; what bounds it is on the other side."""

from __future__ import annotations

import re

from arraygauge.inventory.sysfs_path import last_name, prefixes
from arraygauge.inventory.tree import Reader
from arraygauge.inventory.values import Link, LinkKind

_DEVICE = re.compile(r"virtio\d+")


def find_hops(_reader: Reader, device_path: str) -> tuple[str, ...]:
    """The virtio device on the way: a disk of its own, or a SCSI host with several."""
    return prefixes(device_path, _DEVICE)


def read_link(_reader: Reader, link_id: str) -> Link:
    """The virtio device as a hop, so that disks on one virtual SCSI host are seen to share it."""
    return Link(
        link_id=link_id,
        kind=LinkKind.VIRTIO,
        name=last_name(link_id),
        negotiated=None,
        maximum=None,
        parent_id=None,
    )
