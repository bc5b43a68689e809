"""A sign of life for programs: one versioned document, base units."""

from __future__ import annotations

from arraygauge import __version__
from arraygauge.tell.incident_json import Document
from arraygauge.tell.status_line import Standing, status_line

HEARTBEAT_FORMAT = "arraygauge.heartbeat/1"


def heartbeat_document(host_name: str, sent_at_seconds: float, standing: Standing) -> Document:
    """``status`` is the line that `systemctl status` shows; ``impaired`` says that some part of
    the agent is in trouble, though none hangs."""
    return {
        "format": HEARTBEAT_FORMAT,
        "host": host_name,
        "version": __version__,
        "sent_at_seconds": sent_at_seconds,
        "status": status_line(standing),
        "open_incidents": len(standing.incidents),
        "impaired": bool(standing.troubles) or standing.refused is not None,
    }
