"""What is worth telling, as typed facts: the cause, how bad it is, whom it touches.

A finding names its *cause*, and one cause is one finding however many symptoms it has: a
slow member explains a slow array, a lost drive the arrays that had it. Severity words are
those of ITU-T X.733.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from enum import IntEnum, StrEnum

from arraygauge.values import frozen

PATH_PREFIX = "path "
"""Begins the stable id of a cause that is no device: what devices share on their way."""


class Severity(IntEnum):
    """How bad it is, in order."""

    INFORMATION = 0
    MINOR = 1
    MAJOR = 2
    CRITICAL = 3


class Matter(StrEnum):
    """What is the matter, the worst first: of several with one cause the first is told."""

    DATA_INCOMPLETE = "data incomplete"
    NO_REDUNDANCY = "no redundancy left"
    LESS_REDUNDANCY = "less redundancy"
    DEVICE_HANGS = "device hangs"
    READ_ERRORS = "read errors"
    WRITE_ERRORS = "write errors"
    ARRAY_STOPPED = "array stopped"
    ARRAY_GONE = "array gone"
    BAD_BLOCKS = "bad blocks"
    TOO_HOT = "too hot"
    LINK_LOW = "link trained low"
    SLOW_MEMBER = "slow member"
    SLOW_PATH = "slow path"
    SLOW_ARRAY = "slow array"
    SLOW_WRITES = "slow writes"
    SLOW_DRIVE = "slow drive"
    DRIFT = "drift"
    MISMATCHES = "copies or parity disagree"
    SYNCHRONISING = "synchronising"
    FOOTAGE = "promised footage"
    FASTER = "faster than before"
    AGENT_IMPAIRED = "agent impaired"


class Origin(StrEnum):
    """Who found it. Each origin speaks only for what it looked at."""

    STATE = "state"
    MEASURED = "measured"
    WRITTEN = "written"
    PASSIVE = "passive"
    DRIFT = "drift"
    FOOTAGE = "footage"
    AGENT = "agent"


@frozen
class Cause:
    """What is at fault, by stable id; ``name`` is what the kernel calls it now."""

    stable_id: str
    name: str


@frozen
class Finding:
    """One cause and its matter.

    ``arrays`` are the names of those it touches. ``facts`` are what the words are made of;
    ``signature`` changes when something worth telling again did, and not with every figure.
    ``looks`` is in how many looks in a row it has to be found to be believed.
    """

    origin: Origin
    cause: Cause
    matter: Matter
    severity: Severity
    arrays: tuple[str, ...]
    signature: str
    facts: object
    looks: int = 1
    also: tuple[Finding, ...] = ()
    """Other findings with the same cause, told with this one."""


@frozen
class Observation:
    """All that one origin found at one look.

    ``looked_at`` holds the stable ids it can speak for; None for everything: a finding of the
    same origin not made again is then over. ``existing``, where an origin knows it, are the
    stable ids of all devices and arrays that are there or missed: whatever was found on others,
    by anyone, is over. Of paths only who found them knows whether they are there.
    ``matters`` are those it looked for; None for all that its origin finds.
    """

    origin: Origin
    findings: tuple[Finding, ...]
    looked_at: frozenset[str] | None = None
    existing: frozenset[str] | None = None
    matters: frozenset[Matter] | None = None

    def speaks_for(self, finding: Finding) -> bool:
        """Whether not making this finding means that it is over."""
        if finding.origin is self.origin:
            if self.matters is not None and finding.matter not in self.matters:
                return False
            return self.looked_at is None or finding.cause.stable_id in self.looked_at
        cause_id = finding.cause.stable_id
        if self.existing is None or cause_id.startswith(PATH_PREFIX):
            return False
        return cause_id not in self.existing and finding.origin is not Origin.AGENT


def agent_impaired(
    part: str,
    name: str,
    *,
    facts: object,
    signature: str = "",
    severity: Severity = Severity.MINOR,
) -> Finding:
    """That ``part`` of the agent itself does not do its work; ``name`` is what people call it."""
    return Finding(
        origin=Origin.AGENT,
        cause=Cause(stable_id=part, name=name),
        matter=Matter.AGENT_IMPAIRED,
        severity=severity,
        arrays=(),
        signature=signature,
        facts=facts,
    )


_RANK = {matter: rank for rank, matter in enumerate(Matter)}


def by_cause(findings: Iterable[Finding]) -> dict[str, Finding]:
    """One finding for each cause: the worst, with the others beside it and all arrays of all."""
    groups: dict[str, list[Finding]] = {}
    for finding in findings:
        groups.setdefault(finding.cause.stable_id, []).append(finding)
    return {cause: _joined(group) for cause, group in groups.items()}


def _joined(group: list[Finding]) -> Finding:
    worst, *others = sorted(group, key=lambda each: (-each.severity, _RANK[each.matter]))
    arrays = tuple(dict.fromkeys(name for each in (worst, *others) for name in each.arrays))
    return replace(worst, arrays=arrays, also=tuple(others))
