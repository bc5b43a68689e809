"""What each matter is called, what it means for the work, and where to look next."""

from __future__ import annotations

from arraygauge.judge.findings import Matter
from arraygauge.values import frozen


@frozen
class MatterWords:
    """``headline`` has ``{name}`` and ``{arrays}`` in it; ``meaning`` is what it means for whom
    works on the array; ``steps`` are what to look at, in order."""

    headline: str
    meaning: str
    steps: tuple[str, ...]


_CHECK = "Measure it now: arraygauge check {name}"
_LOG = "Read what the kernel said of it: journalctl -k | grep {name}"
_CABLE = "Look at the cable, the port and the power supply of this drive before the drive itself."

MATTER_WORDS: dict[Matter, MatterWords] = {
    Matter.DATA_INCOMPLETE: MatterWords(
        headline="{arrays}: data is incomplete, {name} is missing",
        meaning="Part of the data cannot be read. What is not on a backup may be lost, and every "
        "attempt to put it right can make it worse.",
        steps=(
            "Stop all work on the array.",
            "See which drives are there: arraygauge inventory",
            "See whether a drive only lost its cable, port or power.",
        ),
    ),
    Matter.NO_REDUNDANCY: MatterWords(
        headline="{arrays}: no redundancy left, {name} is missing",
        meaning="All data is still there, but one more failure can lose it: copy what matters now.",
        steps=(
            "Copy what is nowhere else, the newest work first.",
            _LOG,
            _CABLE,
            "Replace the drive, or add a spare, and let it rebuild.",
        ),
    ),
    Matter.LESS_REDUNDANCY: MatterWords(
        headline="{arrays}: less redundancy, {name} is missing",
        meaning="All data is there and one more failure is still survived, but not the one after. "
        "Work can go on; replace the drive soon.",
        steps=(_LOG, _CABLE, "Replace the drive, or add a spare, and let it rebuild."),
    ),
    Matter.DEVICE_HANGS: MatterWords(
        headline="{name} does not answer",
        meaning="Whoever reads or writes what lies on it waits, and so may every program that uses "
        "its array. The kernel fails a drive only after tens of seconds.",
        steps=(_LOG, _CABLE, "If it happens again, copy what is nowhere else and replace it."),
    ),
    Matter.READ_ERRORS: MatterWords(
        headline="{name} cannot read parts of itself",
        meaning="An array with redundancy reads those parts from the others; without, they are "
        "lost. A drive that begins to fail to read often goes on to.",
        steps=(
            _LOG,
            "See that a backup is fresh.",
            "Plan to replace the drive; a check of the array finds other such places.",
        ),
    ),
    Matter.WRITE_ERRORS: MatterWords(
        headline="Writing to {name} failed",
        meaning="A small file of the agent's own could not be written there. What you save there "
        "may fail as well, or be lost.",
        steps=(
            "Save new work elsewhere until the reason is known.",
            _LOG,
            "See which drives are there: arraygauge inventory",
        ),
    ),
    Matter.ARRAY_STOPPED: MatterWords(
        headline="{arrays} is stopped",
        meaning="Nothing on it can be reached until it is started.",
        steps=("See whether all its drives are there: arraygauge inventory",),
    ),
    Matter.ARRAY_GONE: MatterWords(
        headline="{arrays} is no longer there",
        meaning="It was stopped or taken apart. If that was meant, nothing need be done.",
        steps=("See what is there: arraygauge inventory",),
    ),
    Matter.BAD_BLOCKS: MatterWords(
        headline="{name} has parts that md holds for unreadable",
        meaning="At those places the array has less redundancy than it seems to have, or none. "
        "A rebuild that ended so is not a clean one.",
        steps=(
            "See that a backup is fresh and can be read.",
            "Plan to replace the drive.",
            "Compare important files with their copies.",
        ),
    ),
    Matter.TOO_HOT: MatterWords(
        headline="{name} is too hot to be measured",
        meaning="Hot drives slow down, and age faster. Nothing was read of it, so that no heat "
        "was added.",
        steps=("See that fans turn, filters are free and drives have air between them.",),
    ),
    Matter.LINK_LOW: MatterWords(
        headline="{name} is attached by a slower link than it could be",
        meaning="The link, not the drive, may set the pace of whatever uses it.",
        steps=(_LOG, _CABLE, "Try another cable or port, then measure: arraygauge check {name}"),
    ),
    Matter.SLOW_MEMBER: MatterWords(
        headline="{name} is slower than its peers{in_arrays}",
        meaning="An array that stripes is as fast as its slowest member: playback and export feel "
        "it first. No data is at risk by slowness alone.",
        steps=(_CHECK, _LOG, _CABLE, "See how it went before: arraygauge history {name}"),
    ),
    Matter.SLOW_PATH: MatterWords(
        headline="Drives that share {name} are slow together",
        meaning="What they share sets the pace, not any of the drives: changing a drive would "
        "not help.",
        steps=(
            "See what they share: arraygauge inventory, arraygauge walls",
            "Read what the kernel said of it: journalctl -k",
            "Look at the cable, the enclosure and the controller they share.",
        ),
    ),
    Matter.SLOW_ARRAY: MatterWords(
        headline="{arrays} is slower than its drives allow",
        meaning="Work on it takes longer than it need. No single drive stands out as the reason.",
        steps=(
            "See what the expectation is made of: arraygauge explain {name}",
            "See which drives share a limit: arraygauge walls {name}",
            "See how it went before: arraygauge history {name}",
        ),
    ),
    Matter.SLOW_WRITES: MatterWords(
        headline="{name} is slower in writing than its drives allow",
        meaning="Recording, copying in and exporting take longer than they need. No data is at "
        "risk by slowness alone.",
        steps=(
            "See what the expectation is made of: arraygauge explain {name}",
            "Measure it again: arraygauge check --write {name}",
            "See how it went before: arraygauge history {name}",
        ),
    ),
    Matter.SLOW_DRIVE: MatterWords(
        headline="{name} is slower than it should be",
        meaning="It does not do what its rating or its peers say. No data is at risk by slowness "
        "alone.",
        steps=(_CHECK, _LOG, "See how it went before: arraygauge history {name}"),
    ),
    Matter.DRIFT: MatterWords(
        headline="{name} is not as fast as it used to be",
        meaning="It changed against its own past. Nothing may be felt of it yet, but an array "
        "is as fast as its slowest part. No data is at risk by slowness alone.",
        steps=(
            "See how it went: arraygauge history {name}",
            _CHECK,
            _LOG,
            "If this is how it is meant to be now: arraygauge accept-baseline {name}",
        ),
    ),
    Matter.FASTER: MatterWords(
        headline="{name} is faster than it used to be",
        meaning="Something was changed for the better, or a cache answers now. Until that is "
        "accepted as usual, it has to lose all it gained before it is called slow.",
        steps=(
            "See how it went: arraygauge history {name}",
            "If it is to stay so: arraygauge accept-baseline {name}",
        ),
    ),
    Matter.MISMATCHES: MatterWords(
        headline="{arrays}: copies or parity disagree",
        meaning="At some places the array cannot say which copy is right. On a mirror that holds "
        "swap or the like it can be harmless; with parity it is not.",
        steps=(
            "Compare important files with a backup or with checksums.",
            "Run another check: if the count grows, look at memory, cables and controller.",
        ),
    ),
    Matter.SYNCHRONISING: MatterWords(
        headline="{arrays} is at work on itself",
        meaning="Its redundancy is whole. It is slower until that is done, and is not measured "
        "meanwhile.",
        steps=("See how far it is: arraygauge check {name}",),
    ),
    Matter.FOOTAGE: MatterWords(
        headline="{arrays} does not carry the footage it should",
        meaning="What was declared to be played from it at once may stop or drop frames. No data "
        "is at risk by that.",
        steps=(
            "See what is needed and what it carries: arraygauge footage {name}",
            "See what sets its pace: arraygauge explain {name}",
            "See how it went before: arraygauge history {name}",
        ),
    ),
    Matter.AGENT_IMPAIRED: MatterWords(
        headline="arraygauge itself is impaired: {name}",
        meaning="Something may go unnoticed or untold until it is put right.",
        steps=("Read what the agent says: journalctl -u arraygauge",),
    ),
}
