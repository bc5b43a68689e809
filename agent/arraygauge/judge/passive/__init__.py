"""The passive watch: what the kernel's own counters tell, with no command sent to a drive."""

from arraygauge.judge.passive.hangs import HangWatch, frames_lost
from arraygauge.judge.passive.intervals import Gap, GapReason, Interval, interval_between
from arraygauge.judge.passive.peers import Peers, peers_of
from arraygauge.judge.passive.values import (
    BusyMember,
    Certainty,
    Grounds,
    LongWait,
    Seen,
    SharedPath,
    SlowMember,
    Stall,
    Unjudgeable,
    Unjudged,
)
from arraygauge.judge.passive.watch import PassiveWatch, watch_array

__all__ = [
    "BusyMember",
    "Certainty",
    "Gap",
    "GapReason",
    "Grounds",
    "HangWatch",
    "Interval",
    "LongWait",
    "PassiveWatch",
    "Peers",
    "Seen",
    "SharedPath",
    "SlowMember",
    "Stall",
    "Unjudgeable",
    "Unjudged",
    "frames_lost",
    "interval_between",
    "peers_of",
    "watch_array",
]
