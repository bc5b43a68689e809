"""What a person has to confirm before anything is erased, and the words for it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from arraygauge.probe.writes.endurance import ASSUMED_FULL_WRITES
from arraygauge.tell.trial import DriveToErase
from arraygauge.trial.clearance import Cleared
from arraygauge.trial.drives import RefusedError
from arraygauge.units import format_capacity

Ask = Callable[[str], str]
"""Puts a question and returns what was typed; an empty text where nothing can be."""
GO_AHEAD = "erase"


def to_erase(
    cleared: Sequence[Cleared], most_bytes: Mapping[str, int], endurance: Mapping[str, int]
) -> tuple[DriveToErase, ...]:
    """Each drive as it is shown; ``endurance`` by stable id, as declared, in bytes."""
    return tuple(
        DriveToErase(
            stable_id=each.device.stable_id,
            name=each.device.name,
            model=each.device.model,
            serial=each.device.serial,
            size_bytes=each.device.size_bytes or 0,
            contents=_contents(each),
            most_bytes=most_bytes[each.device.name],
            endurance=share_of_life(
                most_bytes[each.device.name],
                endurance.get(each.device.stable_id),
                each.device.size_bytes or 0,
            ),
        )
        for each in cleared
    )


def share_of_life(written: int, declared: int | None, size_bytes: int) -> str:
    """So much of what a drive endures, and on what that stands."""
    whole = declared or ASSUMED_FULL_WRITES * size_bytes
    if not whole:
        return "its endurance is not known"
    percent = 100 * written / whole
    share = f"{percent:.0f} % of" if percent >= 10 else f"{percent:.2g} % of"
    if declared:
        return f"{share} its rated endurance {format_capacity(declared)}"
    return f"{share} {ASSUMED_FULL_WRITES} writes of the whole drive (no endurance is declared)"


def _contents(each: Cleared) -> str:
    found = each.examined
    if found.strange_at is not None:
        return f"DATA, at byte {found.strange_at}, of no known kind"
    if found.trial_blocks:
        return (
            f"what an earlier trial wrote, else blank ({found.places} places looked at, no known "
            "signature)"
        )
    return f"blank at all {found.places} places looked at, no known signature"


def confirm(cleared: Sequence[Cleared], ask: Ask) -> None:
    """For each drive that is not blank its serial number has to be typed, and then a word for
    all. Raises RefusedError for anything else that is typed."""
    for each in cleared:
        if not each.blank:
            _confirm_serial(each, ask)
    if ask(f"Type {GO_AHEAD} to go ahead").strip() != GO_AHEAD:
        raise RefusedError("not confirmed: nothing was erased", f"type {GO_AHEAD} when asked")


def _confirm_serial(each: Cleared, ask: Ask) -> None:
    device = each.device
    if not device.serial:
        raise RefusedError(
            f"{device.stable_id} ({device.name}) holds data, and offers no serial number by which "
            "it could be confirmed",
            "use a blank drive",
        )
    typed = ask(f"{device.name} holds data. To destroy it, type the drive's serial number").strip()
    if typed != device.serial:
        raise RefusedError(
            f"{device.stable_id} ({device.name}): '{typed}' is not its serial number; nothing was "
            "erased",
            "read the number off the drive's label, and make sure that it is the one you mean",
        )
