"""The model's band for a simulated case: the case translated, nothing computed."""

from __future__ import annotations

from arraygauge.theory import (
    Access,
    ArrayModel,
    Direction,
    Expectation,
    Geometry,
    Network,
    Resource,
    ResourceKind,
    Source,
    Workload,
    expect,
)
from simulated.cases import Case, Drive, Link


def band_of(case: Case) -> Expectation:
    """What the model expects of the case."""
    geometry = Geometry(
        level=case.level,
        slots=case.width,
        chunk_bytes=case.chunk_bytes,
        layout=case.layout,
        missing=case.missing,
        seeks=case.heads,
        member_bytes=case.sizes,
    )
    expectation = expect(ArrayModel(geometry=geometry, network=_network(case)), _workload(case))
    if expectation is None:
        raise ValueError("the model has no band for this case")
    return expectation


def _workload(case: Case) -> Workload:
    return Workload(
        direction=Direction(case.way.value),
        access=Access.SEQUENTIAL if case.streams else Access.RANDOM,
        transfer_bytes=case.transfer_bytes,
        queue_depth=case.depth,
        streams=max(1, case.streams),
    )


def _network(case: Case) -> Network:
    return Network(
        members=tuple(
            None if slot in case.missing else _member(str(slot), drive)
            for slot, drive in enumerate(case.drives)
        ),
        shared=tuple(_link(f"link {at}", link) for at, link in enumerate(case.links)),
        parity=_arithmetic(case.parity_rate) if case.parity_rate else None,
    )


def _member(name: str, drive: Drive) -> Resource:
    return Resource(
        name=name,
        kind=ResourceKind.MEMBER,
        read_bytes_per_second=drive.read,
        write_bytes_per_second=drive.write,
        full_duplex=False,
        source=Source.ASSUMED,
        members=(name,),
        operation_seconds=drive.operation_seconds,
        latency_seconds=drive.latency_seconds,
    )


def _link(name: str, link: Link) -> Resource:
    return Resource(
        name=name,
        kind=ResourceKind.LINK,
        read_bytes_per_second=link.read,
        write_bytes_per_second=link.write,
        full_duplex=link.full_duplex,
        source=Source.ASSUMED,
        members=tuple(str(slot) for slot in sorted(link.slots)),
    )


def _arithmetic(rate: float) -> Resource:
    return Resource(
        name="parity arithmetic",
        kind=ResourceKind.PARITY,
        read_bytes_per_second=rate,
        write_bytes_per_second=rate,
        full_duplex=False,
        source=Source.ASSUMED,
        members=(),
    )
