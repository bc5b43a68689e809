"""What would raise an expectation: change one thing in the model and ask again."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from math import ceil

from arraygauge.theory.bounds import JOINT_BOTTLENECK_SHARE
from arraygauge.theory.expect import ArrayModel, expect
from arraygauge.theory.network import Network
from arraygauge.theory.values import Direction, Expectation, Resource, ResourceKind, Workload
from arraygauge.values import frozen

OUT_OF_THE_WAY = 1e6
"""So many times as fast is as good as without limit, and keeps all arithmetic finite."""


@frozen
class Derivation:
    """An expectation with its neighbours: the bottleneck without limit, one member more.

    ``binding`` names the bottleneck and, where that is a member, its equals. Either
    neighbour is None where the model has no answer for it. ``depth_needed`` is the
    transfers in flight from which more would not help, where too few are now; else None.
    """

    expectation: Expectation
    binding: tuple[str, ...]
    relieved: Expectation | None
    widened: Expectation | None
    depth_needed: int | None


def derive(model: ArrayModel, workload: Workload) -> Derivation | None:
    """None where there is no expectation to explain."""
    expectation = expect(model, workload)
    if expectation is None:
        return None
    binding = _binding(expectation)
    return Derivation(
        expectation=expectation,
        binding=binding,
        relieved=relieved(model, workload, binding),
        widened=widened(model, workload),
        depth_needed=_depth_needed(model, expectation),
    )


def _binding(expectation: Expectation) -> tuple[str, ...]:
    """A member seldom binds alone: its equals would bind next."""
    first = expectation.bottleneck
    if first.kind is not ResourceKind.MEMBER:
        return (first.name,)
    least = JOINT_BOTTLENECK_SHARE * max(use.utilisation for use in expectation.uses)
    return tuple(
        use.resource.name
        for use in expectation.uses
        if use.resource.kind is ResourceKind.MEMBER and use.utilisation >= least
    )


def relieved(model: ArrayModel, workload: Workload, names: Collection[str]) -> Expectation | None:
    """The same with some resources out of the way; None if nothing else would bound it."""

    def freed(resource: Resource) -> Resource:
        if resource.name not in names:
            return resource
        return replace(
            resource,
            read_bytes_per_second=OUT_OF_THE_WAY * resource.read_bytes_per_second,
            write_bytes_per_second=OUT_OF_THE_WAY * resource.write_bytes_per_second,
        )

    network = replace(
        model.network,
        members=tuple(member and freed(member) for member in model.network.members),
        shared=tuple(freed(link) for link in model.network.shared),
        parity=model.network.parity and freed(model.network.parity),
    )
    result = expect(replace(model, network=network), workload)
    if result is None or result.bottleneck.name in names or result.depth_bound:
        return None
    return result


def widened(model: ArrayModel, workload: Workload) -> Expectation | None:
    """The same with one member more, as fast as the slowest serving one, behind every link
    that all the others pass; None for a degraded array, which needs its member back first."""
    members = [member for member in model.network.members if member is not None]
    if model.geometry.missing or model.geometry.member_bytes:
        return None
    slowest = min(members, key=lambda member: _rate(member, workload))
    newcomer = replace(slowest, name="one more", members=("one more",))
    everyone = {member.name for member in members}
    shared = tuple(
        replace(link, members=(*link.members, newcomer.name))
        if everyone <= set(link.members)
        else link
        for link in model.network.shared
    )
    network = Network(
        members=(*model.network.members, newcomer),
        shared=shared,
        parity=model.network.parity,
        background=model.network.background,
    )
    geometry = replace(model.geometry, slots=model.geometry.slots + 1)
    return expect(ArrayModel(geometry=geometry, network=network), workload)


def _rate(member: Resource, workload: Workload) -> float:
    if workload.direction is Direction.READ:
        return member.read_bytes_per_second
    return member.write_bytes_per_second


def _depth_needed(model: ArrayModel, expectation: Expectation) -> int | None:
    if not expectation.depth_bound:
        return None
    workload = expectation.workload
    unlimited = expect(model, replace(workload, queue_depth=4096))
    if unlimited is None:
        return None
    each = expectation.ceiling_bytes_per_second / workload.queue_depth
    return ceil(unlimited.ceiling_bytes_per_second / each)
