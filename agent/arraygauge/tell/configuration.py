"""The configuration's keys in words, for a page of the documentation and for a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from arraygauge.values import frozen


@frozen
class KeyWords:
    """One key. ``default`` is as a file has it; None where there is none. ``bounds`` may be
    empty."""

    name: str
    kind: str
    default: str | None
    required: bool
    bounds: str
    meaning: str

    @property
    def value(self) -> str:
        """What may be given."""
        return f"{self.kind}; {self.bounds}" if self.bounds else self.kind


@frozen
class SectionWords:
    """One section; ``repeated`` ones are written ``[[name]]`` and may be there several times."""

    name: str
    repeated: bool
    about: str
    keys: tuple[KeyWords, ...]

    @property
    def header(self) -> str:
        """As a file has it."""
        return f"[[{self.name}]]" if self.repeated else f"[{self.name}]"


def reference_markdown(sections: Sequence[SectionWords]) -> str:
    """A page with a table for each section."""
    return "\n".join(["# Configuration", "", *_INTRODUCTION, *_sections(sections)])


_INTRODUCTION = (
    "The file is `/etc/arraygauge/config.toml` for root and the service,",
    "`~/.config/arraygauge/config.toml` for anyone else, or what `--config FILE` names. It is",
    "TOML. Every section and every key may be left out unless it says *required*; an unknown key",
    "is an error. `arraygauge config check` tells every mistake with its line.",
    "",
)


def _sections(sections: Sequence[SectionWords]) -> Iterator[str]:
    for section in sections:
        yield from (f"## `{section.header}`", "", section.about, "")
        if section.repeated:
            yield from ("May be there several times.", "")
        yield from ("| key | what it means | value | default |", "| --- | --- | --- | --- |")
        for key in section.keys:
            cells = (f"`{key.name}`", key.meaning, key.value, _default(key))
            yield f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"
        yield ""


def _default(key: KeyWords) -> str:
    if key.required:
        return "*required*"
    return "none" if key.default is None else f"`{key.default}`"


def reference_text(sections: Sequence[SectionWords]) -> str:
    """A file with every section and key in it and nothing in force: all are comments."""
    return "\n".join(_commented(sections))


def _commented(sections: Sequence[SectionWords]) -> Iterator[str]:
    for section in sections:
        yield f"# {section.header}"
        for key in section.keys:
            yield f"#   {key.meaning}"
            yield f"#   ({key.value}{'; required' if key.required else ''})"
            default = "…" if key.default is None else key.default
            yield f"# {key.name} = {default}"
        yield ""
