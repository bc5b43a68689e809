"""The documentation as it is built: every page is there, all that it refers to is there, and a
reader's browser asks nothing of anybody else."""

from __future__ import annotations

import re
import subprocess
import sys
from collections import Counter
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest

from arraygauge.tell.metrics import TABLE

ROOT = Path(__file__).parents[3]
DOCS = ROOT / "agent/docs"
NAMES = [page.stem for page in sorted((DOCS / "pages").glob("*.md"))]
OWN_STYLE = (DOCS / "pages/css/own.css").read_text(encoding="utf-8")
LOADED_BY_A_LINK = {"stylesheet", "icon", "preload", "modulepreload", "manifest", "prefetch"}
ELSEWHERE = re.compile(r"(?:[a-z]+:)?//", re.IGNORECASE)


@dataclass
class Built(HTMLParser):
    """What one page refers to: ``loaded`` is fetched by the browser itself, ``followed`` when a
    reader clicks; both as they are written. ``ids`` are all its anchors."""

    text: str
    loaded: list[str] = field(default_factory=list)
    followed: list[str] = field(default_factory=list)
    ids: list[str] = field(default_factory=list)
    pictures_without_words: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()
        self.feed(self.text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if "id" in given:
            self.ids.append(given["id"])
        if tag == "a" and "href" in given:
            self.followed.append(given["href"])
        elif tag == "link" and LOADED_BY_A_LINK & set(given.get("rel", "").split()):
            self.loaded.append(given["href"])
        elif "src" in given:
            self.loaded.append(given["src"])
        if tag == "img" and not given.get("alt"):
            self.pictures_without_words.append(given.get("src", ""))


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """As `make docs` builds it, elsewhere. Not --quiet: warnings that are not shown are not
    counted, and end nothing."""
    folder = tmp_path_factory.mktemp("site")
    words = ["build", "--strict", "--config-file", str(DOCS / "mkdocs.yml")]
    built = subprocess.run(
        [sys.executable, "-m", "mkdocs", *words, "--site-dir", str(folder)],
        check=False,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert built.returncode == 0, built.stdout
    return folder


@pytest.fixture(scope="module")
def pages(site: Path) -> dict[Path, Built]:
    return {
        path: Built(path.read_text(encoding="utf-8")) for path in sorted(site.glob("**/*.html"))
    }


def target(site: Path, page: Path, reference: str) -> Path:
    """The file that a reference within the site leads to; the page itself for a mere anchor."""
    path = unquote(urlsplit(reference).path)
    if not path:
        return page
    found = site / path.lstrip("/") if path.startswith("/") else page.parent / path
    return (found / "index.html" if found.is_dir() else found).resolve()


def test_each_page_is_built(site: Path, pages: dict[Path, Built]) -> None:
    assert {path.name for path in pages} == {f"{name}.html" for name in [*NAMES, "404"]}


def test_each_page_can_be_reached_from_the_first_by_its_contents(
    site: Path, pages: dict[Path, Built]
) -> None:
    first = site / "index.html"
    reached = {target(site, first, link).stem for link in pages[first].followed if link != "#"}
    assert set(NAMES) <= reached


def test_every_link_anchor_and_picture_is_there(site: Path, pages: dict[Path, Built]) -> None:
    """`#` alone is a button of the theme's."""
    for page, built in pages.items():
        for reference in (*built.followed, *built.loaded):
            if ELSEWHERE.match(reference) or reference == "#":
                continue
            found = target(site, page, reference)
            assert found.is_file(), f"{page.name}: {reference}"
            anchor = urlsplit(reference).fragment
            assert not anchor or anchor in pages[found].ids, f"{page.name}: {reference}"


def test_an_anchor_is_one_place_that_scripts_can_find(pages: dict[Path, Built]) -> None:
    """No id begins with a digit: `#` takes an identifier in CSS (Selectors Level 4, 6.6), and the
    theme's script, which follows the reader in the contents, ends at one that is none."""
    for page, built in pages.items():
        assert [name for name, count in Counter(built.ids).items() if count > 1] == [], page.name
        if page.stem in NAMES:
            assert [name for name in built.ids if re.match(r"-?\d", name)] == [], page.name


def test_a_browser_asks_nothing_of_another_host(site: Path, pages: dict[Path, Built]) -> None:
    """Pages are read on workstations without a way outside. Only a reader's click leads there."""
    for page, built in pages.items():
        assert [each for each in built.loaded if ELSEWHERE.match(each)] == [], page.name
        assert [each for each in built.followed if each.startswith("http:")] == [], page.name
    for script in (*DOCS.glob("pages/js/*"), *DOCS.glob("theme/js/*")):
        assert "http" not in script.read_text(encoding="utf-8"), script.name
    for style in site.glob("**/*.css"):
        text = style.read_text(encoding="utf-8")
        fetched = re.findall(r"url\(\s*[\"']?([^\"')\s]+)", text)
        fetched += re.findall(r"@import\s+[\"']([^\"']+)", text)
        assert [each for each in fetched if ELSEWHERE.match(each)] == [], style.name


def test_each_picture_is_told_in_words_and_is_small(site: Path, pages: dict[Path, Built]) -> None:
    for page, built in pages.items():
        assert built.pictures_without_words == [], page.name
    sizes = {path.name: path.stat().st_size for path in (DOCS / "pages/img").iterdir()}
    assert sizes, "the agent's page is shown"
    assert max(sizes.values()) <= 200_000


def test_the_page_of_the_model_has_every_array_of_the_lab(site: Path) -> None:
    """Its figures are those that stand beside the model, in `theory/README.md`."""
    kept = (ROOT / "agent/arraygauge/theory/README.md").read_text(encoding="utf-8")
    rows = re.findall(
        r"^\| ([^|]+) \| [\d.]+ \| [\d.]+ \| [\d.]+ \| [\d.]+% \|$", kept, re.MULTILINE
    )
    page = (site / "model.html").read_text(encoding="utf-8")
    assert len(rows) >= 40, "as many as tests/lab/test_model.py demands"
    assert [row for row in rows if f"<td>{row}</td>" not in page] == []


def test_the_page_of_metrics_has_every_series(site: Path) -> None:
    page = (site / "metrics.html").read_text(encoding="utf-8")
    named = re.findall(r"<tr>\s*<td><code>(\w+)</code></td>", page)
    assert named == sorted(spec.series_name for spec in TABLE)


def luminance(colour: str) -> float:
    """Relative luminance of `#rgb` or `#rrggbb`: WCAG 2.2, https://www.w3.org/TR/WCAG22/"""
    digits = colour.lstrip("#")
    if len(digits) == 3:
        digits = "".join(2 * digit for digit in digits)
    parts = [int(digits[place : place + 2], 16) / 255 for place in (0, 2, 4)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Of two colours, 1 to 21: the same source."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def test_contrast_is_reckoned_as_its_source_does() -> None:
    """Black on white is 21 to 1, and #767676 on white is the palest grey that passes 4.5 (W3C's
    Understanding SC 1.4.3, [M])."""
    assert contrast("#000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#fff") >= 4.5 > contrast("#777777", "#fff")


def rule(style: str, selector: str) -> dict[str, str]:
    """The custom properties of every rule of exactly that selector, the last of each."""
    bodies = re.findall(rf"(?:^|[}}/,]\s*){re.escape(selector)}\s*{{([^}}]*)}}", style)
    return {
        name: value.strip()
        for body in bodies
        for name, value in re.findall(r"(--[\w-]+)\s*:([^;}]*)", body)
    }


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_and_links_can_be_read_in_light_and_in_dark(site: Path, scheme: str) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1, on the page and on the contents beside it."""
    theme = (site / "css/bootstrap.min.css").read_text(encoding="utf-8")
    colours = rule(theme, "[data-bs-theme=dark]" if scheme == "dark" else "[data-bs-theme=light]")
    if scheme == "light":
        colours |= rule(OWN_STYLE, ':root:not([data-bs-theme="dark"])')
    for ground in ("--bs-body-bg", "--bs-tertiary-bg"):
        for text in ("--bs-body-color", "--bs-link-color", "--bs-link-hover-color"):
            assert contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
    for ground in rule(OWN_STYLE, ".dropdown-menu").values():
        assert contrast("#fff", ground) >= 4.5
