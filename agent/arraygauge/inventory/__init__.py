"""What is there: the only reader of /sys, /proc and udev. The values; ``host`` reads them."""

from arraygauge.inventory.problems import ProblemKind, ReadProblem
from arraygauge.inventory.transport import Transport
from arraygauge.inventory.values import (
    Array,
    ArrayState,
    BlockDevice,
    DeviceKind,
    DeviceNumber,
    Host,
    Level,
    Link,
    LinkKind,
    LinkRate,
    Member,
    MemberState,
    Mount,
    SyncAction,
)

__all__ = [
    "Array",
    "ArrayState",
    "BlockDevice",
    "DeviceKind",
    "DeviceNumber",
    "Host",
    "Level",
    "Link",
    "LinkKind",
    "LinkRate",
    "Member",
    "MemberState",
    "Mount",
    "ProblemKind",
    "ReadProblem",
    "SyncAction",
    "Transport",
]
