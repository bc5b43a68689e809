"""What the measurements mean: verdicts with reasons, as pure functions."""

from arraygauge.judge.arrays import assess_array, expected_rates, peer_rates, with_walls
from arraygauge.judge.devices import assess_device
from arraygauge.judge.peers import Grounds
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
)

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
    "assess_array",
    "assess_device",
    "expected_rates",
    "peer_rates",
    "with_walls",
]
