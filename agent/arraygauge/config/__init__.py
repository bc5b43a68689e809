"""The configuration: found, read and checked."""

from arraygauge.config.load import load_configuration, parse_configuration, state_directory
from arraygauge.config.model import Configuration

__all__ = ["Configuration", "load_configuration", "parse_configuration", "state_directory"]
