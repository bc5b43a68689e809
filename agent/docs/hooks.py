"""What MkDocs asks while it builds the site."""

from __future__ import annotations

from itertools import dropwhile, takewhile
from pathlib import Path

from mkdocs.structure.pages import Page

ROOT = Path(__file__).parents[2]
TABLES = {
    "metrics.md": ("dashboards/METRICS.md", "| series |"),
    "model.md": ("agent/arraygauge/theory/README.md", "| array and workload |"),
}
"""By page: the file whose table it shows, and how that table begins."""


def on_page_markdown(markdown: str, page: Page, **_: object) -> str:
    """Tables that are kept elsewhere are shown from there, so that there is no second one to keep:
    at the page's comment that names the file."""
    if page.file.src_uri not in TABLES:
        return markdown
    name, beginning = TABLES[page.file.src_uri]
    lines = (ROOT / name).read_text(encoding="utf-8").splitlines()
    below = dropwhile(lambda line: not line.startswith(beginning), lines)
    table = "\n".join(takewhile(lambda line: line.startswith("|"), below))
    place = f"<!-- the table of {name} -->"
    assert table, f"{name} has no table that begins with {beginning}"
    assert place in markdown, f"{page.file.src_uri} has no {place}"
    return markdown.replace(place, table)
