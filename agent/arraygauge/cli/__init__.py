"""The command line."""

from arraygauge.cli.main import main

__all__ = ["main"]
