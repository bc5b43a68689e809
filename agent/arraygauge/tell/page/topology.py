"""The way from an array's drives to the processor, as a tree of links with capacities."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from arraygauge.inventory.stack import beneath
from arraygauge.inventory.values import Array, BlockDevice, Host, Link
from arraygauge.judge.pace import rate_of
from arraygauge.tell.charts.values import Node, Topology
from arraygauge.tell.page.inputs import MOST_MEMBERS, Known
from arraygauge.theory import Direction, Resource, ResourceKind, Use
from arraygauge.theory.links import data_bytes_per_second

ROOT = "processor"


def topology_of(known: Known, array: Array) -> tuple[Topology, int]:
    """The picture, and how many drives are left out of it. Links are filled by what passes
    them while the array gives what was measured, or else what is expected."""
    if known.host is None:
        return Topology(title="", description="", nodes=()), 0
    bodies = [beneath(known.host, each.name) for each in array.members]
    drives = list({body.name: body for body in bodies if body is not None}.values())
    plan = _Plan(host=known.host, uses=_uses(known, array), share=_share(known, array))
    nodes = (
        Node(key=ROOT, parent_key=None, kind_word="processor", name="processor"),
        *plan.nodes(drives[:MOST_MEMBERS]),
    )
    walls = [node.name for node in nodes if node.wall]
    said = f"{', '.join(walls)} sets the pace." if walls else "No link sets the pace."
    title = f"From the drives of {array.name} to the processor"
    left_out = max(0, len(drives) - MOST_MEMBERS)
    return Topology(title=title, description=said, nodes=nodes), left_out


def _uses(known: Known, array: Array) -> dict[str, Use]:
    """How each resource is used at the rate that the array can give, by its name."""
    basis = known.basis(array)
    return {} if basis is None else {use.resource.name: use for use in basis.uses}


def _share(known: Known, array: Array) -> float:
    """What was measured, as a share of what the uses are for; 1 where it was not."""
    verdict, basis = known.verdict(array), known.basis(array)
    rate = rate_of(verdict.attempt) if verdict is not None else None
    return 1.0 if rate is None or basis is None else rate / basis.ceiling_bytes_per_second


@dataclass(slots=True, kw_only=True)
class _Plan:
    """Nodes are made once each, parents before what hangs on them."""

    host: Host
    uses: dict[str, Use]
    share: float
    made: dict[str, Node] = field(default_factory=dict)

    def nodes(self, drives: list[BlockDevice]) -> Iterator[Node]:
        for drive in drives:
            parent = self._uplink(drive)
            for link_id in reversed(drive.link_ids):
                link = self.host.link(link_id)
                if link is not None and link.negotiated is not None:
                    parent = self._link(link, parent)
            self._drive(drive, parent)
        bound = self._bottleneck()
        for node in self.made.values():
            yield replace(node, wall=True) if node.key == bound else node

    def _uplink(self, drive: BlockDevice) -> str:
        """The narrowest declared or found link that the drive's traffic passes, below any that
        hold it too."""
        parent = ROOT
        shared = [
            use.resource
            for use in self.uses.values()
            if drive.name in use.resource.members and self._is_declared(use.resource)
        ]
        for resource in sorted(shared, key=lambda each: -len(each.members)):
            key = f"shared {resource.name}"
            if key not in self.made:
                self._make(key, parent, "uplink", resource.name, resource.read_bytes_per_second)
            parent = key
        return parent

    def _is_declared(self, resource: Resource) -> bool:
        shown = {f"{link.kind} {link.name}" for link in self.host.links}
        return resource.kind is ResourceKind.LINK and resource.name not in shown

    def _link(self, link: Link, parent: str) -> str:
        if link.link_id not in self.made and link.negotiated is not None:
            carries = data_bytes_per_second(link.kind, link.negotiated, Direction.READ)
            self._make(link.link_id, parent, str(link.kind), link.name, carries)
        return link.link_id

    def _drive(self, drive: BlockDevice, parent: str) -> None:
        use = self.uses.get(drive.name)
        rate = use.resource.read_bytes_per_second if use else None
        self._make(f"drive {drive.name}", parent, "drive", drive.name, rate)

    def _make(self, key: str, parent: str, kind: str, name: str, rate: float | None) -> None:
        use = self.uses.get(name) or self.uses.get(f"{kind} {name}")
        self.made[key] = Node(
            key=key,
            parent_key=parent,
            kind_word=kind,
            name=name,
            capacity_bytes_per_second=rate,
            used_share=min(1.0, use.utilisation * self.share) if use else None,
            note="" if rate else "capacity not known",
        )

    def _bottleneck(self) -> str | None:
        """The key of the node that is busiest at the expected rate."""
        busiest = max(self.uses.values(), key=lambda use: use.demand_seconds_per_byte, default=None)
        if busiest is None:
            return None
        name = busiest.resource.name
        names = {f"shared {name}", f"drive {name}"}
        links = {link.link_id for link in self.host.links if f"{link.kind} {link.name}" == name}
        return next((key for key in self.made if key in names | links), None)
