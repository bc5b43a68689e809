"""What is written at a node of a topology."""

from __future__ import annotations

from arraygauge.tell.charts.values import Node
from arraygauge.units import format_rate


def name_of(node: Node) -> str:
    return node.name if node.kind_word in node.name else f"{node.kind_word} {node.name}"


def facts_of(node: Node) -> str:
    """What its link carries and how much of that is used."""
    parts = []
    if node.capacity_bytes_per_second is not None:
        parts.append(format_rate(node.capacity_bytes_per_second))
    elif node.parent_key is not None:
        parts.append("capacity not known")
    if node.used_share is not None:
        parts.append(f"{node.used_share:.0%} used")
    return ", ".join(parts)


def beside(node: Node) -> str:
    """The facts, where the name leaves room for them on a narrow page."""
    return "" if node.wall else facts_of(node)


def note_of(node: Node) -> str:
    """What stands below the name: the note, unless it says again what the facts say."""
    facts = facts_of(node)
    parts = (facts if node.wall else "", "" if node.note in facts else node.note)
    return ", ".join(part for part in parts if part)


def wall_word(node: Node) -> str:
    """What is said of the one that sets the pace."""
    return "sets the pace" if node.kind_word == "drive" else "the wall"
