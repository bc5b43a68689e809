"""The inventory as a process: see ``inventory.sentinel``; it is started by ``service``."""

from __future__ import annotations

import sys

from arraygauge.inventory.sentinel import Sentinel


def main() -> None:
    """Serve until standard input ends."""
    Sentinel(sys.stdin.fileno(), sys.stdout.fileno()).run()


if __name__ == "__main__":
    main()
