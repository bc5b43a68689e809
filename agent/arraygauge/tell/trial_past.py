"""What an array's trial had given, beside its past since it was built."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from rich.console import Console
from rich.text import Text

from arraygauge.judge.past_trial import PastTrial
from arraygauge.tell.derivation import workload_phrase
from arraygauge.tell.moments import minute
from arraygauge.tell.trial import figure


def print_past_trial(console: Console, past: PastTrial | None) -> None:
    """One paragraph; nothing where there was no trial."""
    if past is None:
        return
    console.print(
        Text(
            f"In the trial of {minute(past.at_seconds)}, before it was built: read "
            f"{figure(past.read)} MB/s ({workload_phrase(past.read_workload)}), written "
            f"{figure(past.write)} MB/s ({workload_phrase(past.write_workload)})."
        )
    )


def past_trial_document(past: PastTrial | None) -> dict[str, Any] | None:
    """For scripts; rates in bytes per second."""
    return None if past is None else asdict(past)
