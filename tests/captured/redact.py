"""Serial numbers, world-wide names and people's words taken out of a capture.

The same secret always becomes the same stand-in of the same length and kinds of
character, so that what matched on the machine still matches in the archive.
"""

from __future__ import annotations

import hashlib
import re
import string
from collections.abc import Iterable
from dataclasses import replace

from captured.archive import Entry

SHORTEST_SECRET = 5
"""A shorter word is no identity, and replacing it everywhere would spoil the capture."""

_ANYWHERE = (
    re.compile(r"[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}"),  # any UUID
    re.compile(r"\b[0-9a-f]{8}(?::[0-9a-f]{8}){3}\b"),  # md's, as udev writes it
    re.compile(r"LVM-([0-9A-Za-z]{32,64})"),
    re.compile(r"\b\w{6}(?:-\w{4}){5}-\w{6}\b"),  # a physical volume's
    re.compile(r"/(?:home|run/media|media)/(\S+)"),  # people's names
    re.compile(r"E:ID_(?:SERIAL_SHORT|SCSI_SERIAL|FS_LABEL|PART_ENTRY_NAME)=(.+)"),
    re.compile(r"E:ID_WWN\w*=(?:0x|eui\.|uuid\.)(.+)"),
    re.compile(r"E:MD_(?:DEV)?NAME=(.+)"),
)
_WWID = (
    re.compile(r"(?:naa|eui|uuid)\.(\S+)"),
    re.compile(r"t10\..*\s(\S+)\s*$"),
    re.compile(r"nvme\.[0-9a-f]+-([0-9a-f]+)-"),
)
_ROOT_HUB = re.compile(r"/usb\d+/serial$")
"""Its serial is the controller's PCI address, which is no secret and stands elsewhere too."""
_WHOLE = frozenset({"serial", "hostname", "boot_id"})


def redact(entries: Iterable[Entry]) -> list[Entry]:
    """The entries with every secret replaced wherever it stands, in any of them."""
    kept = [_without_foreign_mounts(entry) for entry in entries]
    secrets = sorted(find_secrets(kept), key=lambda secret: (-len(secret), secret))
    stand_ins = [
        (secret.encode("latin-1"), stand_in(secret).encode("latin-1")) for secret in secrets
    ]
    return [_replace_all(entry, stand_ins) for entry in kept]


def find_secrets(entries: Iterable[Entry]) -> set[str]:
    """Every word that identifies one piece of hardware, one filesystem or one person."""
    found: set[str] = set()
    for entry in entries:
        if entry.kind == "file":
            text = entry.content.decode("latin-1")
            found.update(_secrets_by_name(entry.path, text))
            for pattern in _ANYWHERE:
                found.update(pattern.findall(text))
    return {secret for raw in found if _identifies(secret := raw.strip())}


def _identifies(word: str) -> bool:
    """Whether the word is long enough to name one thing, and not the kernel's all-zero 'none'."""
    return len(word) >= SHORTEST_SECRET and bool(set(word) - set("0:-"))


def _secrets_by_name(path: str, text: str) -> list[str]:
    name = path.rsplit("/", 1)[-1]
    if name in _WHOLE and not _ROOT_HUB.search(path):
        return [text]
    if name == "wwid":
        return [found for pattern in _WWID for found in pattern.findall(text)]
    if name == "vpd_pg80":
        return [text[4:]]  # after the page's four-byte head: SPC, unit serial number
    return []


def _redact_identify(text: str) -> str:
    """Serial (words 10-19) and world-wide name (108-111) of IDENTIFY DEVICE, kernel's ata.h."""
    words = text.split()
    for at in (*range(10, 20), *range(108, 112)):
        if at < len(words) and words[at] not in ("0000", "2020"):
            words[at] = stand_in(words[at])
    rows = [" ".join(words[at : at + 8]) for at in range(0, len(words), 8)]
    return "".join(f"{row}\n" for row in rows)


def stand_in(secret: str) -> str:
    """A made-up word of the same shape; the first character stays (it can name a format)."""
    stream = hashlib.sha256(secret.encode("latin-1")).digest() * (len(secret) // 32 + 1)
    return secret[0] + "".join(
        _same_kind(char, stream[at]) for at, char in enumerate(secret) if at > 0
    )


def _same_kind(char: str, choice: int) -> str:
    for kind in (string.digits, "abcdef", "ABCDEF", string.ascii_lowercase, string.ascii_uppercase):
        if char in kind:
            return kind[choice % len(kind)]
    return char


def _replace_all(entry: Entry, stand_ins: list[tuple[bytes, bytes]]) -> Entry:
    if entry.kind != "file":
        return entry
    content = entry.content
    for secret, substitute in stand_ins:
        content = content.replace(secret, substitute)
    if entry.path.endswith("/osrelease"):
        content = content.split(b"-")[0].strip() + b"\n"  # the rest names who built the kernel
    if entry.path.endswith("/id") and "/ata_device/" in entry.path:
        content = _redact_identify(content.decode("ascii", "replace")).encode()
    return replace(entry, content=content)


def _without_foreign_mounts(entry: Entry) -> Entry:
    """Only mounts of block devices: the rest tells about the person, not about drives."""
    if not entry.path.endswith("/mountinfo"):
        return entry
    lines = entry.content.splitlines(keepends=True)
    return replace(
        entry, content=b"".join(line for line in lines if b" - " in line and _on_block(line))
    )


def _on_block(line: bytes) -> bool:
    filesystem, source = line.split(b" - ", 1)[1].split()[:2]
    return source.startswith(b"/dev/") or filesystem in (b"btrfs", b"overlay")
