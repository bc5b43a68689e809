"""What it should do: pure functions from capacities and shapes to a band of rates."""

from arraygauge.theory.expect import ArrayModel, MemberRate, depth_curve, expect
from arraygauge.theory.geometry import Geometry
from arraygauge.theory.hosted import expect_array, expect_device, model_array
from arraygauge.theory.network import Network
from arraygauge.theory.paths import BARE, Board, Uplink
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
from arraygauge.theory.whatif import Derivation, derive

__all__ = [
    "BARE",
    "SEQUENTIAL_READ",
    "SEQUENTIAL_WRITE",
    "Access",
    "ArrayModel",
    "Board",
    "Derivation",
    "Direction",
    "Expectation",
    "Geometry",
    "MemberRate",
    "Network",
    "Resource",
    "ResourceKind",
    "Source",
    "Survivable",
    "Uplink",
    "Use",
    "Workload",
    "data_is_complete",
    "depth_curve",
    "derive",
    "expect",
    "expect_array",
    "expect_device",
    "model_array",
    "survivable",
]
