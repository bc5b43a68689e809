"""The derivation of an array's expectation, reads and writes, for `arraygauge explain`."""

from __future__ import annotations

from arraygauge.errors import UnknownDeviceError
from arraygauge.inventory.values import Array
from arraygauge.judge import expected_rates
from arraygauge.service.grounds import grounds_of
from arraygauge.service.probing import Progress
from arraygauge.service.survey import Surveyor
from arraygauge.service.targets import bare_name
from arraygauge.theory import ArrayModel, Derivation, Direction, Workload, derive, model_array
from arraygauge.theory.chunks import ChunkChoice, chunk_choices
from arraygauge.theory.prospects import Prospects, prospects
from arraygauge.values import frozen


@frozen
class Explanation:
    """One derivation a workload; None where a member's rate in that direction is not known.

    ``choices`` are chunk sizes for the first workload; ``prospects`` are None where no
    model of the array can be made.
    """

    array: Array
    derivations: tuple[tuple[Workload, Derivation | None], ...]
    choices: tuple[ChunkChoice, ...]
    prospects: Prospects | None


def explain(
    surveyor: Surveyor, name: str, workloads: tuple[Workload, ...], progress: Progress
) -> Explanation:
    """Measure the members that have no rating, and derive. UnknownDeviceError for no such array."""
    host = surveyor.hosts.read()
    array = host.array(bare_name(name))
    if array is None:
        known = ", ".join(each.name for each in host.arrays) or "none"
        raise UnknownDeviceError(f"{name}: this machine has no such array", f"it has {known}")
    attempts = surveyor.measure_members(host, array, progress)
    grounds = grounds_of(surveyor.configuration, host)
    rates = expected_rates(host, array, attempts, grounds)
    derivations = []
    for workload in workloads:
        model = model_array(host, array, rates, grounds.board, workload.direction)
        derivations.append((workload, derive(model, workload) if model is not None else None))
    reading = model_array(host, array, rates, grounds.board, Direction.READ)
    return Explanation(
        array=array,
        derivations=tuple(derivations),
        choices=chunk_choices(reading, workloads[0]) if reading and array.chunk_bytes else (),
        prospects=_prospects(array, reading) if reading else None,
    )


def _prospects(array: Array, model: ArrayModel) -> Prospects:
    """A member whose size the kernel does not show counts as one component."""
    held = [array.member_in_slot(slot) for slot in range(model.geometry.slots)]
    component = array.component_bytes or 0
    return prospects(model, [(member and member.size_bytes) or component for member in held])
