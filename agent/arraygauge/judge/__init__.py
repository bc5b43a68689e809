"""What the measurements mean: verdicts with reasons, as pure functions."""

from arraygauge.judge.arrays import assess_array, expected_rates, peer_references, with_walls
from arraygauge.judge.devices import assess_device
from arraygauge.judge.footage import with_footage
from arraygauge.judge.peers import Grounds
from arraygauge.judge.since_trial import with_trial
from arraygauge.judge.values import (
    ArrayVerdict,
    Cause,
    DeviceVerdict,
    Health,
    OddMember,
    Pace,
    Protection,
    Status,
    Tolerances,
    WriteVerdict,
)
from arraygauge.judge.writes import assess_write, observe_writes

__all__ = [
    "ArrayVerdict",
    "Cause",
    "DeviceVerdict",
    "Grounds",
    "Health",
    "OddMember",
    "Pace",
    "Protection",
    "Status",
    "Tolerances",
    "WriteVerdict",
    "assess_array",
    "assess_device",
    "assess_write",
    "expected_rates",
    "observe_writes",
    "peer_references",
    "with_footage",
    "with_trial",
    "with_walls",
]
