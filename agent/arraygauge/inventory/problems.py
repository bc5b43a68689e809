"""Why a kernel file gave no value."""

from __future__ import annotations

from enum import StrEnum

from arraygauge.values import frozen


class ProblemKind(StrEnum):
    """Why a kernel file gave no value."""

    DENIED = "denied"
    MALFORMED = "malformed"
    VANISHED = "vanished"
    FAILED = "failed"


@frozen
class ReadProblem:
    """A kernel file that should have been readable and was not."""

    path: str
    kind: ProblemKind
    detail: str
