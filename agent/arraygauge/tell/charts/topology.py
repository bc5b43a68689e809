"""The way of the data as a picture: links as wide as what they carry, filled by their use."""

from __future__ import annotations

from arraygauge.tell.charts.forest import forest_of
from arraygauge.tell.charts.node_words import beside, name_of, note_of, wall_word
from arraygauge.tell.charts.pipes import NOTE, ROW, Layout, Placed, lay_out
from arraygauge.tell.charts.svg import element, label, line, picture, plain, shortened
from arraygauge.tell.charts.values import Node, Topology

_LEGEND = 42.0


def topology(chart: Topology) -> str:
    """The processor at the top, what is reached through it below and to the right. Of many
    alike the busiest are drawn, and how many are left out is said."""
    layout = lay_out(forest_of(chart.nodes))
    links = [each for each in layout.placed if each.path]
    return picture(
        chart.title,
        chart.description,
        layout.height + _LEGEND,
        "chart-whole",
        *(_edge(each) for each in links),
        *(_pipe(each) for each in links),
        *(_words(each) for each in layout.placed),
        _legend(chart.nodes, layout),
    )


def _edge(placed: Placed) -> str:
    """The rim of a link, below all of their insides, so that neighbours do not cut each other."""
    if placed.node is None or placed.node.capacity_bytes_per_second is None:
        return ""
    rim = "chart-pipe-rim-wall" if placed.node.wall else "chart-pipe-rim"
    return element("path", d=placed.path, class_=rim, stroke_width=placed.width + 2)


def _pipe(placed: Placed) -> str:
    node = placed.node
    if node is None or node.capacity_bytes_per_second is None:
        return element("path", d=placed.path, class_="chart-pipe-unknown")
    pipe = element("path", d=placed.path, class_="chart-pipe", stroke_width=placed.width)
    used = min(max(node.used_share or 0.0, 0.0), 1.0)
    if not used:
        return pipe
    class_ = "chart-pipe-wall" if node.wall else "chart-pipe-used"
    return pipe + element("path", d=placed.path, class_=class_, stroke_width=placed.width * used)


def _words(placed: Placed) -> str:
    if placed.node is None:
        words = f"and {len(placed.left_out)} more like these"
        return label(words, placed.x, placed.y + 4, "chart-muted", letters=40)
    node = placed.node
    parts = [element("tspan", plain(shortened(name_of(node), 26)), class_="chart-strong")]
    if node.wall:
        parts.append(element("tspan", wall_word(node), dx=7, class_="chart-wall-word"))
    if facts := beside(node):
        parts.append(element("tspan", plain(facts), dx=7, class_="chart-muted"))
    text = element("text", *parts, x=placed.x + 6, y=placed.y + 4, class_="chart-text")
    if not (note := note_of(node)):
        return text
    return text + label(
        note, placed.note_x, placed.y + ROW / 2 + NOTE - 9, "chart-muted", letters=60
    )


def _legend(nodes: tuple[Node, ...], layout: Layout) -> str:
    y = layout.height + 14
    parts = [
        line(0, y - 4, 22, y - 4, "chart-pipe-sample-rim"),
        line(0, y - 4, 22, y - 4, "chart-pipe-sample"),
        line(0, y - 4, 22, y - 4, "chart-pipe-sample-used"),
        label("wide as it carries, filled as it is used", 30, y, "chart-muted", letters=50),
    ]
    if any(node.wall for node in nodes):
        parts.append(line(0, y + 14, 22, y + 14, "chart-pipe-sample-wall"))
        parts.append(label("striped: what sets the pace", 30, y + 18, "chart-muted"))
    return "".join(parts)
