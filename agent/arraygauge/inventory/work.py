"""How much processor time a process has taken. Source: proc(5), /proc/PID/stat."""

from __future__ import annotations

import os

from arraygauge.inventory.tree import Reader, Tree

_BEFORE_TIMES = 11
"""Fields from the state, the first behind the command's name, to utime and stime."""


def worked_seconds(process_id: int) -> float | None:
    """Processor seconds, the kernel's on its behalf included, to a clock tick (10 ms as a rule);
    None where there is no such process."""
    ticks = parse_ticks(Reader(Tree()).text(f"/proc/{process_id}/stat") or "")
    return None if ticks is None else ticks / os.sysconf("SC_CLK_TCK")


def parse_ticks(line: str) -> int | None:
    """utime and stime together; the command's name may hold anything, parentheses too."""
    fields = line.rpartition(")")[2].split()
    times = fields[_BEFORE_TIMES : _BEFORE_TIMES + 2]
    if len(times) < 2 or not all(each.isdecimal() and each.isascii() for each in times):
        return None
    return sum(map(int, times))
