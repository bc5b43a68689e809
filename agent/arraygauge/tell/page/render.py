"""Pages as bytes, and the files they need."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from arraygauge.tell.page.values import ArrayPage, Heading, Overview
from arraygauge.values import frozen


@frozen
class Missing:
    """A page that is not there, and what to say of it."""

    heading: Heading
    words: str


@frozen
class StaticFile:
    """A file as it is served."""

    content_type: str
    body: bytes


_PAGE, _CHARTS = "arraygauge.tell.page", "arraygauge.tell.charts"
_FILES = {
    "page.js": "text/javascript; charset=utf-8",
    "icon.svg": "image/svg+xml",
}
"""By the name they are served under: of what kind."""
_TEMPLATES = {Overview: "overview.html", ArrayPage: "array.html", Missing: "missing.html"}


def page_html(page: Overview | ArrayPage | Missing) -> bytes:
    """The whole document, in UTF-8."""
    template = _environment().get_template(_TEMPLATES[type(page)])
    ours = Markup(style())  # noqa: S704, files of this package
    return template.render(page=page, static=static_prefix(), style=ours).encode()


@cache
def style() -> str:
    """The style sheet, which stands in each page: asking for it apart would keep the reader from
    seeing anything for as long as that takes."""
    parts = ((_CHARTS, "charts.css"), (_PAGE, "static/page.css"))
    return "".join(_read(package, path).decode() for package, path in parts)


@cache
def style_source() -> str:
    """What a content security policy calls the style sheet (https://www.w3.org/TR/CSP3/, 2.3.1)."""
    digest = hashlib.sha256(style().encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"


@cache
def static_files() -> dict[str, StaticFile]:
    """By name, read once."""
    return {
        name: StaticFile(
            content_type=content_type,
            body=_read(_PAGE, f"static/{name}"),
        )
        for name, content_type in _FILES.items()
    }


@cache
def static_prefix() -> str:
    """Where they are served: another address once they are others, so that they may be kept."""
    digest = hashlib.sha256()
    for each in static_files().values():
        digest.update(each.body)
    return f"/static/{digest.hexdigest()[:12]}"


def _read(package: str, path: str) -> bytes:
    return files(package).joinpath(path).read_bytes()


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
