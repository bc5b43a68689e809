"""Pictures as markup that is put into a page as it is."""

from __future__ import annotations

from markupsafe import Markup


def drawn(svg: str) -> Markup:
    """What ``tell.charts`` draws has all its texts escaped."""
    return Markup(svg)  # noqa: S704
