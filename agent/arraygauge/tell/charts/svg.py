"""SVG as text (SVG 1.1, as HTML embeds it). Every word from outside passes ``plain``."""

from __future__ import annotations

from html import escape

Place = float | str
"""Pixels, or a share of the width such as '12.5%'."""

LABEL_LETTERS = 28


def plain(words: str) -> str:
    """Words that say nothing but themselves: escaped, and without what cannot be seen, such as
    marks that turn the direction of writing."""
    return escape("".join(letter if letter.isprintable() else "\ufffd" for letter in words))


def shortened(words: str, letters: int = LABEL_LETTERS) -> str:
    """At most so many letters."""
    return words if len(words) <= letters else words[: letters - 1] + "…"


def number(value: float) -> str:
    """With two decimals at most: a hundredth of a pixel is not seen."""
    return f"{value:.2f}".rstrip("0").rstrip(".") or "0"


def across(share: float) -> str:
    """A share of the width, 0 to 1."""
    return f"{number(100 * share)}%"


def element(name: str, *content: str, **attributes: Place | None) -> str:
    """An element; ``content`` is markup. 'class_' is written class, 'stroke_width'
    stroke-width; None is left out."""
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{_value(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    return f"<{name}{written}>{''.join(content)}</{name}>" if content else f"<{name}{written}/>"


def _value(value: Place) -> str:
    return plain(value) if isinstance(value, str) else number(value)


def label(
    words: str,
    x: Place,
    y: float,
    class_: str = "",
    anchor: str = "",
    *,
    letters: int = LABEL_LETTERS,
) -> str:
    """Text at its baseline, shortened; what was cut off can still be had by pointing at it."""
    short = shortened(words, letters)
    whole = element("title", plain(words)) if short != words else ""
    return element(
        "text",
        whole + plain(short),
        x=x,
        y=y,
        class_=" ".join(("chart-text", *class_.split())),
        text_anchor=anchor or None,
    )


def line(x1: Place, y1: float, x2: Place, y2: float, class_: str) -> str:
    return element("line", x1=x1, y1=y1, x2=x2, y2=y2, class_=class_)


def picture(title: str, description: str, height: float, class_: str, *content: str) -> str:
    """The whole chart, as wide as what it stands in."""
    return element(
        "svg",
        element("title", plain(title)),
        element("desc", plain(description)),
        *content,
        xmlns="http://www.w3.org/2000/svg",
        role="img",
        class_=f"chart {class_}",
        width="100%",
        height=height,
    )


STRETCH = 1000.0
"""Units across of what is stretched to the width."""


def stretched(y: float, height: float, *content: str) -> str:
    """Paths cannot have places in per cent: these have them in ``STRETCH`` units across, and in
    pixels from ``y`` down. Strokes keep their width by ``charts.css``."""
    return element(
        "svg",
        *content,
        x=0,
        y=y,
        width="100%",
        height=height,
        viewBox=f"0 0 {number(STRETCH)} {number(height)}",
        preserveAspectRatio="none",
    )


def symbol(x: Place, y: float, path: str, class_: str, words: str = "") -> str:
    """A small figure drawn around a point, which keeps its shape; ``words`` on pointing at it."""
    title = (element("title", plain(words)),) if words else ()
    figure = element("path", *title, d=path, class_=class_)
    return element("svg", figure, x=x, y=y, class_="chart-symbol")


DOT = "M-4 0a4 4 0 1 0 8 0a4 4 0 1 0 -8 0z"
SQUARE = "M-3.5 -3.5h7v7h-7z"
DIAMOND = "M0 -6L6 0L0 6L-6 0z"
TRIANGLE = "M0 -6L6.5 5.5H-6.5z"
RING = "M-3.5 0a3.5 3.5 0 1 0 7 0a3.5 3.5 0 1 0 -7 0z"
