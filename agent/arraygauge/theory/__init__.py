"""What it should do: pure functions from capacities and shapes to a band of rates."""

from arraygauge.theory.capacity import Capacity, capacity
from arraygauge.theory.chunks import ChunkChoice, chunk_choices, recommended
from arraygauge.theory.expect import ArrayModel, MemberRate, depth_curve, expect
from arraygauge.theory.geometry import Geometry
from arraygauge.theory.hosted import expect_array, expect_device, model_array
from arraygauge.theory.network import Network
from arraygauge.theory.paths import BARE, Board, Uplink
from arraygauge.theory.prospects import Prospects, prospects
from arraygauge.theory.queueing import (
    asymptotic_response,
    asymptotic_throughput,
    balanced_bounds,
    knee,
    mean_value_analysis,
)
from arraygauge.theory.rebuild import SpeedLimits, SyncBand, sync_band
from arraygauge.theory.redundancy import Survivable, data_is_complete, survivable
from arraygauge.theory.risk import (
    Reliability,
    exposure,
    grouped,
    loss_probability,
    loss_time,
    unreadable_sector,
)
from arraygauge.theory.sync_loads import SyncWork, recovery
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
from arraygauge.theory.walls import Inference, Run, Wall, infer_walls, run_cost
from arraygauge.theory.whatif import Derivation, derive

__all__ = [
    "BARE",
    "SEQUENTIAL_READ",
    "SEQUENTIAL_WRITE",
    "Access",
    "ArrayModel",
    "Board",
    "Capacity",
    "ChunkChoice",
    "Derivation",
    "Direction",
    "Expectation",
    "Geometry",
    "Inference",
    "MemberRate",
    "Network",
    "Prospects",
    "Reliability",
    "Resource",
    "ResourceKind",
    "Run",
    "Source",
    "SpeedLimits",
    "Survivable",
    "SyncBand",
    "SyncWork",
    "Uplink",
    "Use",
    "Wall",
    "Workload",
    "asymptotic_response",
    "asymptotic_throughput",
    "balanced_bounds",
    "capacity",
    "chunk_choices",
    "data_is_complete",
    "depth_curve",
    "derive",
    "expect",
    "expect_array",
    "expect_device",
    "exposure",
    "grouped",
    "infer_walls",
    "knee",
    "loss_probability",
    "loss_time",
    "mean_value_analysis",
    "model_array",
    "prospects",
    "recommended",
    "recovery",
    "run_cost",
    "survivable",
    "sync_band",
    "unreadable_sector",
]
