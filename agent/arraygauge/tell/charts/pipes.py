"""Where the links of a topology run, and how wide they are.

A node's children leave it side by side, each as wide as its link: the width of the bundle below a
node, beside the width of the link above it, shows what can come together and what can pass.
"""

from __future__ import annotations

from collections.abc import Iterator

from arraygauge.tell.charts.forest import Branch
from arraygauge.tell.charts.node_words import note_of
from arraygauge.tell.charts.values import Node
from arraygauge.values import frozen

ROW, NOTE = 26.0, 15.0
_INDENT, _ELBOW, _APART = 20.0, 7.0, 2.0
_WIDEST_PIPE, _WIDEST_SUM, _THINNEST = 16.0, 64.0, 2.0


@frozen
class Placed:
    """A node at the end of its link: pixels. ``path`` is the link's, empty at the root;
    ``left_out`` are siblings that are not drawn, told in a row of their own; a note begins at
    ``note_x``, beside the bundle that leaves the node."""

    x: float
    y: float
    node: Node | None = None
    left_out: tuple[Node, ...] = ()
    path: str = ""
    width: float = 0.0
    note_x: float = 0.0


@frozen
class Layout:
    """All that is drawn, and the height it takes."""

    placed: tuple[Placed, ...]
    height: float


def lay_out(trees: tuple[Branch, ...]) -> Layout:
    """From the top down, each node in a row of its own."""
    pen = _Pen(_pixels_per_rate(trees))
    for tree in trees:
        pen.place(tree, 2.0, None, 0.0)
    return Layout(placed=tuple(pen.placed), height=pen.y)


def _pixels_per_rate(trees: tuple[Branch, ...]) -> float:
    widest = max((_rate(each) for tree in trees for each in _below(tree)), default=0.0)
    longest = max((_bundles(tree) for tree in trees), default=0.0)
    if not widest or not longest:
        return 0.0
    return min(_WIDEST_PIPE / widest, _WIDEST_SUM / longest)


def _below(branch: Branch) -> Iterator[Branch]:
    for each in branch.below:
        yield each
        yield from _below(each)


def _bundles(branch: Branch) -> float:
    """The largest sum of bundles on a way down."""
    bundle = sum(_rate(each) for each in branch.below)
    return bundle + max((_bundles(each) for each in branch.below), default=0.0)


def _rate(branch: Branch) -> float:
    return branch.node.capacity_bytes_per_second or 0.0


class _Pen:
    def __init__(self, pixels_per_rate: float) -> None:
        self.placed: list[Placed] = []
        self.y = 4.0
        self._scale = pixels_per_rate

    def place(self, branch: Branch, x: float, track: float | None, above: float) -> None:
        """The branch in the next row, at ``x``; its link comes down ``track`` from ``above``."""
        y = self.y + ROW / 2
        width = self._width(branch)
        path = "" if track is None else _path(track, above, x, y)
        self.y += ROW + (NOTE if note_of(branch.node) else 0)
        widths = [self._width(each) for each in branch.below]
        bundle = sum(widths) + _APART * len(widths)
        self.placed.append(
            Placed(node=branch.node, x=x, y=y, path=path, width=width, note_x=x + 10 + bundle)
        )
        end = x + 4 + bundle + _INDENT
        edge = end - _INDENT
        for each, wide in zip(branch.below, widths, strict=True):
            self.place(each, end, edge - wide / 2, y + 9)
            edge -= wide + _APART
        if branch.left_out:
            self.placed.append(Placed(left_out=tuple(branch.left_out), x=end, y=self.y + ROW / 2))
            self.y += ROW

    def _width(self, branch: Branch) -> float:
        return max(self._scale * _rate(branch), _THINNEST)


def _path(track: float, above: float, x: float, y: float) -> str:
    """Down the track and round a corner to the right."""
    turn = f"Q{track:.1f} {y:.1f} {track + _ELBOW:.1f} {y:.1f}"
    return f"M{track:.1f} {above:.1f}V{y - _ELBOW:.1f}{turn}H{x:.1f}"
