"""The passive watch: what the kernel's own counters tell, with no command sent to a drive."""

from arraygauge.judge.passive.findings import (
    PathFacts,
    SlowFacts,
    observe_members,
    suspected,
)
from arraygauge.judge.passive.hang_findings import HangFacts, observe_hangs
from arraygauge.judge.passive.hangs import HangWatch, frames_lost
from arraygauge.judge.passive.intervals import Gap, GapReason, Interval, interval_between
from arraygauge.judge.passive.peers import Peers, peers_of
from arraygauge.judge.passive.scope import Body, Scope, scopes_of, touched
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
from arraygauge.judge.passive.watch import PassiveWatch, Watched, causes_watched, watch_array

__all__ = [
    "Body",
    "BusyMember",
    "Certainty",
    "Gap",
    "GapReason",
    "Grounds",
    "HangFacts",
    "HangWatch",
    "Interval",
    "LongWait",
    "PassiveWatch",
    "PathFacts",
    "Peers",
    "Scope",
    "Seen",
    "SharedPath",
    "SlowFacts",
    "SlowMember",
    "Stall",
    "Unjudgeable",
    "Unjudged",
    "Watched",
    "causes_watched",
    "frames_lost",
    "interval_between",
    "observe_hangs",
    "observe_members",
    "peers_of",
    "scopes_of",
    "suspected",
    "touched",
    "watch_array",
]
