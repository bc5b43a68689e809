"""What it should do: pure functions from capacities and shapes to a band of rates."""

from arraygauge.theory.expect import MemberRate, expect, expect_array, expect_device
from arraygauge.theory.geometry import Geometry
from arraygauge.theory.paths import Uplink
from arraygauge.theory.redundancy import Survivable, data_is_complete, survivable
from arraygauge.theory.values import (
    SEQUENTIAL_READ,
    SEQUENTIAL_WRITE,
    Access,
    Direction,
    Expectation,
    Resource,
    ResourceKind,
    Source,
    Use,
    Workload,
)

__all__ = [
    "SEQUENTIAL_READ",
    "SEQUENTIAL_WRITE",
    "Access",
    "Direction",
    "Expectation",
    "Geometry",
    "MemberRate",
    "Resource",
    "ResourceKind",
    "Source",
    "Survivable",
    "Uplink",
    "Use",
    "Workload",
    "data_is_complete",
    "expect",
    "expect_array",
    "expect_device",
    "survivable",
]
