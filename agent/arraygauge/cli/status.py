"""Exit statuses: what a script learns without reading a word."""

from __future__ import annotations

from enum import IntEnum

from arraygauge.judge import Pace, Protection, Status


class Exit(IntEnum):
    """The worst news wins, in the order DEGRADED, SHORT, NOT_MEASURED, FINE."""

    FINE = 0
    RUNTIME_ERROR = 1
    USAGE_ERROR = 2
    SHORT = 3
    DEGRADED = 4
    NOT_MEASURED = 5


_UNSAFE = (Protection.REDUCED, Protection.NONE_LEFT, Protection.BROKEN)
_UNSURE = (Protection.STOPPED, Protection.UNKNOWN)


def exit_status(status: Status) -> Exit:
    """Degraded or broken before short, short before not measured."""
    protections = [verdict.health.protection for verdict in status.arrays]
    paces = [array.pace for array in status.arrays] + [drive.pace for drive in status.devices]
    paces += [written.pace for written in status.writes]
    if any(protection in _UNSAFE for protection in protections):
        return Exit.DEGRADED
    if Pace.SHORT in paces:
        return Exit.SHORT
    if Pace.NOT_MEASURED in paces or any(protection in _UNSURE for protection in protections):
        return Exit.NOT_MEASURED
    return Exit.FINE if paces else Exit.NOT_MEASURED
