"""How much is kept of incidents: by order and not by the clock, so that no clock costs memory.

A drive that comes and goes all day makes thousands of changes; none of them may crowd out the
measurements. What is still to be sent is never touched.
"""

from __future__ import annotations

import sqlite3

KEPT_DOCUMENTS = 1000
"""Changes kept with all that was said of them; of older ones the headline stays."""
KEPT_CHANGES = 20_000
KEPT_INCIDENTS = 2000
_SENT = "NOT EXISTS (SELECT 1 FROM delivery WHERE change = incident_change.id AND outcome IS NULL)"


def forget_old_incidents(connection: sqlite3.Connection) -> None:
    """Let go of what is older than the newest so many."""
    [(last,)] = connection.execute("SELECT coalesce(max(id), 0) FROM incident_change")
    [(number,)] = connection.execute("SELECT coalesce(max(number), 0) FROM incident")
    connection.execute(
        f"UPDATE incident_change SET document = '' WHERE id <= ? AND document <> '' AND {_SENT}",  # noqa: S608
        (last - KEPT_DOCUMENTS,),
    )
    stale = (
        f"SELECT id FROM incident_change WHERE {_SENT} AND (id <= :change OR incident IN"  # noqa: S608
        " (SELECT number FROM incident WHERE closed_at_seconds IS NOT NULL AND number <= :number))"
    )
    bounds = {"change": last - KEPT_CHANGES, "number": number - KEPT_INCIDENTS}
    connection.execute(f"DELETE FROM delivery WHERE change IN ({stale})", bounds)  # noqa: S608
    connection.execute(f"DELETE FROM incident_change WHERE id IN ({stale})", bounds)  # noqa: S608
    connection.execute(
        "DELETE FROM incident WHERE closed_at_seconds IS NOT NULL AND number <= ?"
        " AND NOT EXISTS (SELECT 1 FROM incident_change WHERE incident = number)",
        (bounds["number"],),
    )
