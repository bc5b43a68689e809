"""Nodes as trees: which stands below which, and which of many are drawn."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from arraygauge.tell.charts.node_words import note_of
from arraygauge.tell.charts.values import Node

MOST_ROWS = 64
_LIMITS = (16, 12, 8, 5, 3, 2, 1)
"""Children drawn of each node: the first that keeps to ``MOST_ROWS`` is taken, or the last."""


@dataclass(slots=True, kw_only=True)
class Branch:
    """A node, what is drawn below it, and what is left out there."""

    node: Node
    below: list[Branch] = field(default_factory=list)
    left_out: list[Node] = field(default_factory=list)


def forest_of(nodes: Sequence[Node]) -> tuple[Branch, ...]:
    """The trees, with few enough rows to be read. What a node's parents lead round in a circle
    to is at the root."""
    unique = {node.key: node for node in nodes}
    below: dict[str | None, list[Node]] = {}
    for node in unique.values():
        below.setdefault(_parent(node, unique), []).append(node)
    for limit in _LIMITS:
        trees = [_branch(node, below, limit) for node in below.get(None, ())]
        if sum(1 for tree in trees for _ in walk(tree)) <= MOST_ROWS:
            break
    return tuple(trees)


def walk(branch: Branch) -> Iterator[Branch]:
    """A branch and all that is drawn below it."""
    yield branch
    for each in branch.below:
        yield from walk(each)


def _parent(node: Node, nodes: dict[str, Node]) -> str | None:
    seen, key = {node.key}, node.parent_key
    while key is not None and key in nodes:
        if key in seen:
            return None
        seen.add(key)
        key = nodes[key].parent_key
    return node.parent_key if node.parent_key in nodes else None


def _branch(node: Node, below: dict[str | None, list[Node]], limit: int) -> Branch:
    children = below.get(node.key, [])
    first = sorted(children, key=lambda each: (not each.wall, not note_of(each), _freedom(each)))
    chosen = {each.key for each in (first[:limit] if len(children) > limit else children)}
    return Branch(
        node=node,
        below=[_branch(each, below, limit) for each in children if each.key in chosen],
        left_out=[each for each in children if each.key not in chosen],
    )


def _freedom(node: Node) -> float:
    return 1.0 if node.used_share is None else 1.0 - node.used_share
