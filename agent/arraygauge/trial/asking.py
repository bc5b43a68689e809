"""What a person has to confirm before anything is erased."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from arraygauge.tell.trial import DriveToErase
from arraygauge.trial.clearance import Cleared
from arraygauge.trial.drives import RefusedError

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
            places=each.examined.places,
            trial_blocks=each.examined.trial_blocks,
            strange_at=each.examined.strange_at,
            most_bytes=most_bytes[each.device.name],
            endurance_bytes=endurance.get(each.device.stable_id),
        )
        for each in cleared
    )


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
