"""``python -m captured.capture OUT``: this machine's drives and arrays as one text archive.

Run from the folder ``tests``. Write a facts file beside the archive: what a person
knows is true of the machine, for the tests to compare with.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from captured.archive import format_archive
from captured.gather import gather
from captured.redact import redact


def capture(root: Path) -> str:
    """The archive of the machine whose files lie below ``root``, serials replaced."""
    entries = redact(gather(root))
    return format_archive(entries, remarks=["captured; serials and names replaced by stand-ins"])


def main() -> None:
    arguments = argparse.ArgumentParser(prog="python -m captured.capture", description=__doc__)
    arguments.add_argument("out", type=Path, metavar="OUT", help="the archive to write")
    arguments.add_argument("--root", type=Path, default=Path("/"), help="the machine's root")
    given = arguments.parse_args()
    text = capture(given.root)
    given.out.write_text(text, encoding="ascii")
    print(f"{given.out}: {text.count(chr(10))} lines")


if __name__ == "__main__":
    main()
