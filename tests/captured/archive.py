"""One machine's files as one plain-text archive, so that a change shows as a diff.

Format, one entry after another, in path order::

    dir PATH
    link PATH -> TARGET
    file PATH            the text follows, each line after a tab
    file-no-newline PATH the same, for a text whose last line is not ended
    binary PATH          the bytes follow as hexadecimal, 32 bytes a line after a tab

Paths are relative to the machine's root. A line starting with '#' between
entries is a remark.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Kind = Literal["dir", "link", "file"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One file, directory or symbolic link of the captured machine."""

    path: str
    kind: Kind
    content: bytes = b""
    """Contents of a file, target of a link, nothing for a directory."""


def format_archive(entries: Iterable[Entry], remarks: Iterable[str] = ()) -> str:
    """The archive's text; the same entries always give the same text."""
    lines = [f"# {remark}" for remark in remarks]
    for entry in sorted(entries, key=lambda entry: entry.path):
        lines += _format_entry(entry)
    return "".join(f"{line}\n" for line in lines)


def _format_entry(entry: Entry) -> list[str]:
    if entry.kind == "dir":
        return [f"dir {entry.path}"]
    if entry.kind == "link":
        return [f"link {entry.path} -> {entry.content.decode()}"]
    text = _plain_text(entry.content)
    if text is None:
        pieces = [entry.content[at : at + 32].hex() for at in range(0, len(entry.content), 32)]
        return [f"binary {entry.path}", *(f"\t{piece}" for piece in pieces)]
    if text == "":
        return [f"file-no-newline {entry.path}"]
    if text.endswith("\n"):
        return [f"file {entry.path}", *(f"\t{line}" for line in text[:-1].split("\n"))]
    return [f"file-no-newline {entry.path}", *(f"\t{line}" for line in text.split("\n"))]


def _plain_text(content: bytes) -> str | None:
    """The content if an archive can hold it as readable lines, else None."""
    try:
        text = content.decode("ascii")
    except UnicodeDecodeError:
        return None
    return text if all(char.isprintable() or char in "\n\t" for char in text) else None


def parse_archive(text: str) -> Iterator[Entry]:
    """The entries of an archive. Raises ValueError at a line that is none."""
    body: list[str] = []
    head: str | None = None
    for line in text.splitlines():
        if line.startswith("\t"):
            body.append(line[1:])
            continue
        if head is not None:
            yield _parse_entry(head, body)
        head, body = (None if line.startswith("#") else line), []
    if head is not None:
        yield _parse_entry(head, body)


def _parse_entry(head: str, body: list[str]) -> Entry:
    word, _, path = head.partition(" ")
    match word:
        case "dir":
            return Entry(path=path, kind="dir")
        case "link":
            path, _, target = path.partition(" -> ")
            return Entry(path=path, kind="link", content=target.encode())
        case "file":
            return Entry(path=path, kind="file", content="".join(f"{x}\n" for x in body).encode())
        case "file-no-newline":
            return Entry(path=path, kind="file", content="\n".join(body).encode())
        case "binary":
            return Entry(path=path, kind="file", content=bytes.fromhex("".join(body)))
    raise ValueError(f"not an archive entry: {head!r}")


def unpack(text: str, root: Path) -> Path:
    """Lay an archive's entries below ``root`` and return it. Later entries replace earlier ones."""
    for entry in parse_archive(text):
        target = root / entry.path
        target.parent.mkdir(parents=True, exist_ok=True)
        if target.is_symlink() or (target.is_file() and entry.kind != "dir"):
            target.unlink()
        if entry.kind == "dir":
            target.mkdir(exist_ok=True)
        elif entry.kind == "link":
            target.symlink_to(entry.content.decode())
        else:
            target.write_bytes(entry.content)
    return root
