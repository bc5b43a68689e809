"""The configuration file as the package brings it: every key, and nothing in force.

A line that begins with '#' and a letter or bracket is a default: without '#' it changes nothing.
What has no default, and the keys of sections that are there only if written, is indented.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from arraygauge.config import Configuration
from arraygauge.config.reference import configuration_reference
from arraygauge.tell.configuration import KeyWords, SectionWords

_INTRODUCTION = """\
# Configuration of arraygauge. Every key has a default: nothing in here is needed.
# Where '#' stands right before a key or a section, that is the default: take '#' away to change it.
# What is indented is there only if you write it. 'arraygauge config check' finds mistakes, and
# 'systemctl reload arraygauge' has a running agent read this again.
"""


def commented_configuration() -> str:
    """The whole file, made from the models that read it."""
    return "\n".join([_INTRODUCTION, *(_section(each) for each in configuration_reference())])


def _section(section: SectionWords) -> str:
    default = Configuration.model_fields[section.name].default
    is_there = not section.repeated and default is not None
    about = textwrap.wrap(section.about, 96, initial_indent="# ", subsequent_indent="# ")
    before = "#" if is_there else "#   "
    lines = [line for key in section.keys for line in _key(key, before)]
    return "\n".join([*about, f"{before}{section.header}", *lines, ""])


def _key(key: KeyWords, before: str) -> Iterator[str]:
    value = f"{key.kind}; {key.bounds}" if key.bounds else key.kind
    need = "; required" if key.required else ""
    yield f"# - {key.meaning} ({value}{need})"
    yield f"#   {key.name} =" if key.default is None else f"{before}{key.name} = {key.default}"


if __name__ == "__main__":
    print(commented_configuration(), end="")
