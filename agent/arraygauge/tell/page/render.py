"""Pages as bytes, and the files they need."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined

from arraygauge.tell.page.values import ArrayPage, Heading, Overview


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """A page that is not there, and what to say of it."""

    heading: Heading
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StaticFile:
    """A file as it is served."""

    content_type: str
    body: bytes


_PAGE, _CHARTS = "arraygauge.tell.page", "arraygauge.tell.charts"
_FILES = {
    "page.css": ("text/css; charset=utf-8", ((_CHARTS, "charts.css"), (_PAGE, "static/page.css"))),
    "page.js": ("text/javascript; charset=utf-8", ((_PAGE, "static/page.js"),)),
    "icon.svg": ("image/svg+xml", ((_PAGE, "static/icon.svg"),)),
}
"""By the name they are served under: of what kind, and put together from which files."""
_TEMPLATES = {Overview: "overview.html", ArrayPage: "array.html", Missing: "missing.html"}


def page_html(page: Overview | ArrayPage | Missing) -> bytes:
    """The whole document, in UTF-8."""
    template = _environment().get_template(_TEMPLATES[type(page)])
    return template.render(page=page, static=static_prefix()).encode()


@cache
def static_files() -> dict[str, StaticFile]:
    """By name, read once."""
    return {
        name: StaticFile(
            content_type=content_type,
            body=b"".join(files(package).joinpath(path).read_bytes() for package, path in parts),
        )
        for name, (content_type, parts) in _FILES.items()
    }


@cache
def static_prefix() -> str:
    """Where they are served: another address once they are others, so that they may be kept."""
    digest = hashlib.sha256()
    for each in static_files().values():
        digest.update(each.body)
    return f"/static/{digest.hexdigest()[:12]}"


@cache
def _environment() -> Environment:
    """A value that is not there is a bug, and no text goes in unescaped."""
    return Environment(
        loader=PackageLoader("arraygauge.tell.page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
