"""What the passive watch sees now, for programs: also where it cannot judge, and why."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from arraygauge.judge.passive import (
    BusyMember,
    LongWait,
    PassiveWatch,
    Scope,
    Seen,
    SharedPath,
    SlowMember,
    Unjudged,
    Watched,
)

Document = dict[str, Any]
ALIKE = "like its peers"


def watching_document(watched: Iterable[Watched]) -> list[Document]:
    """One entry for each array: each member in a word, and what goes on now."""
    return [_array(scope, watch) for scope, watch in watched]


def _array(scope: Scope, watch: PassiveWatch) -> Document:
    said = {name: ALIKE for group in watch.groups for name in group.looks}
    for one in watch.seen:
        said |= dict(_words(one))
    return {
        "array": scope.array_name,
        "members": [
            {"name": name, "counters_of": body.name, "seen": said.get(name, "not seen yet")}
            for name, body in scope.bodies
        ],
        "stalled": [
            {"name": each.device, "milliseconds": each.milliseconds, "hang": each.hang}
            for each in watch.stalls
            if not each.over
        ],
    }


def _words(one: Seen) -> Iterator[tuple[str, str]]:
    if isinstance(one, SlowMember):
        yield one.name, f"{one.certainty}: {one.ratio:.1f} times as long as its peers"
    elif isinstance(one, SharedPath):
        for name in one.members:
            yield name, f"{one.certainty}: its path, {one.ratio:.1f} times as long"
    elif isinstance(one, BusyMember):
        yield one.name, f"busier than its peers: {one.work_ratio:.1f} times the work"
    elif isinstance(one, LongWait):
        yield one.name, f"waits {one.wait_ratio:.1f} times as long as its peers"
    elif isinstance(one, Unjudged):
        yield one.name, f"not judged: {one.reason}"
