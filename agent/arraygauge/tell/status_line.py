"""How the machine and the agent fare, in one line: what `systemctl status` shows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from arraygauge.errors import OperatorError
from arraygauge.judge.findings import Matter
from arraygauge.judge.incidents import Incident
from arraygauge.tell.incident_words import headline_of
from arraygauge.tell.part_state import PartState
from arraygauge.values import frozen


@frozen
class Standing:
    """What the line is made of. ``arrays`` and ``drives`` are those of the last look, None
    before the first; ``refused`` is why the configuration on the disk is not in use."""

    arrays: int | None = None
    drives: int | None = None
    incidents: Sequence[Incident] = ()
    """Open ones, the worst first."""
    troubles: Sequence[PartState] = ()
    refused: OperatorError | None = None


def status_line(standing: Standing) -> str:
    """The worst first, the ordinary last."""
    parts = (
        *_of_incidents(standing.incidents),
        *(_of_part(state) for state in standing.troubles),
        *_of_refusal(standing.refused),
        _of_machine(standing),
    )
    return "; ".join(parts)


def _of_incidents(incidents: Sequence[Incident]) -> Iterator[str]:
    """Of the machine only: the agent's own troubles have words of their own."""
    findings = [each.finding for each in incidents]
    found = [each for each in findings if each.matter is not Matter.AGENT_IMPAIRED]
    if not found:
        return
    more = f" and {len(found) - 1} more" if len(found) > 1 else ""
    yield f"{headline_of(found[0])}{more}"


def _of_part(state: PartState) -> str:
    return f"'{state.part}' " + ("hangs" if state.overdue else "fails and is started again")


def _of_refusal(refused: OperatorError | None) -> Iterator[str]:
    if refused is not None:
        yield f"the configuration was not reloaded, the one before is kept: {refused.message}"


def _of_machine(standing: Standing) -> str:
    if standing.arrays is None or standing.drives is None:
        return "looking at the machine"
    return f"watching {_count(standing.arrays, 'array')} and {_count(standing.drives, 'drive')}"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
