"""The documentation's pages: every link leads somewhere, every command and option is there."""

from __future__ import annotations

import re
import shlex
import tomllib
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from arraygauge.cli.main import main
from arraygauge.config import parse_configuration
from arraygauge.config.plan_file import parse_plan_file
from arraygauge.config.reference import configuration_reference
from arraygauge.tell.configuration import reference_markdown

ROOT = Path(__file__).parents[3]
PAGES = sorted((ROOT / "agent/docs/pages").glob("*.md"))
NAMES = [page.name for page in PAGES]
BESIDE = sorted(
    path
    for pattern in (
        "*.md",
        ".github/*.md",
        "dashboards/*.md",
        "systemd/**/*.md",
        "agent/arraygauge/**/*.md",
    )
    for path in ROOT.glob(pattern)
)
"""What is read in the source tree itself, the README first of all."""
every_page = pytest.mark.parametrize("page", PAGES, ids=NAMES)
_LINK = re.compile(r"\]\(([^)\s]+)\)")
_HEADING = re.compile(r"^#+ (.+)$", re.MULTILINE)
_BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_SAID = re.compile(r"`(arraygauge [^`]+)`")


def prose(text: str) -> str:
    return _BLOCK.sub("", text)


def anchors(text: str) -> set[str]:
    """As the generator makes them: small letters, no punctuation, dashes for spaces."""
    plain = (re.sub(r"[^\w\s-]", "", heading).strip().lower() for heading in _HEADING.findall(text))
    return {re.sub(r"[-\s]+", "-", heading) for heading in plain}


def commands(text: str) -> Iterator[list[str]]:
    """All that pages have a person type: lines of blocks of the shell, and what stands in
    the prose."""
    blocks = [block.replace("\\\n", " ") for kind, block in _BLOCK.findall(text) if kind == "sh"]
    lines = [line for block in blocks for line in block.split("\n")]
    said = [*lines, *_SAID.findall(prose(text))]
    for line in said:
        words = shlex.split(line, comments=True)
        if words[:1] == ["arraygauge"]:
            yield words[1:]


@pytest.mark.parametrize("page", [*PAGES, *BESIDE], ids=lambda page: str(page.relative_to(ROOT)))
def test_links_lead_to_pages_and_headings_that_are_there(page: Path) -> None:
    text = prose(page.read_text())
    for link in _LINK.findall(text):
        if link.startswith("https://"):
            continue
        name, _, anchor = link.partition("#")
        target = page.parent / name if name else page
        assert target.is_file(), link
        assert not anchor or anchor in anchors(prose(target.read_text())), link


@every_page
def test_every_command_and_option_that_is_shown_exists(page: Path) -> None:
    for words in commands(page.read_text()):
        command: click.Command = main
        context = click.Context(main)
        names = iter(words)
        while isinstance(command, click.Group) and (word := next(names, None)) is not None:
            found = command.get_command(context, word)
            if found is None:
                assert word.startswith("-") or word.isupper(), words
                break
            command = found
        known = {"--help", "--version", "--config"}
        known.update(option for each in command.params for option in each.opts)
        assert {word for word in words if word.startswith("--")} <= known, words


@every_page
def test_configurations_that_are_shown_are_read_without_a_mistake(page: Path) -> None:
    """Drives on paper are a file of another kind, known by how many there are of each."""
    for kind, block in _BLOCK.findall(page.read_text()):
        if kind != "toml":
            continue
        on_paper = any("count" in drive for drive in tomllib.loads(block).get("drive", ()))
        (parse_plan_file if on_paper else parse_configuration)(block, page.name)


def test_the_page_of_all_keys_is_what_the_program_prints() -> None:
    page = (ROOT / "agent/docs/pages/configuration.md").read_text()
    assert page == reference_markdown(configuration_reference())


def test_the_contents_name_every_page_once() -> None:
    listed = re.findall(r": (\S+\.md)$", (ROOT / "agent/docs/mkdocs.yml").read_text(), re.MULTILINE)
    assert sorted(listed) == NAMES


def test_the_readme_keeps_its_two_commands_and_shows_the_page() -> None:
    text = (ROOT / "README.md").read_text()
    assert re.search(r"^make run .*\n^make test ", text, re.MULTILINE)
    assert "](agent/docs/pages/img/page-simulated.png)" in text
