"""Why a kernel file gave no value."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class ProblemKind(StrEnum):
    """Why a kernel file gave no value."""

    DENIED = "denied"
    MALFORMED = "malformed"
    VANISHED = "vanished"
    FAILED = "failed"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadProblem:
    """A kernel file that should have been readable and was not."""

    path: str
    kind: ProblemKind
    detail: str
