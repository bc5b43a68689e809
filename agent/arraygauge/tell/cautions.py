"""What a person should be warned of before they put a hand to it.

Common practice of the trade, no published source, except where a line says otherwise.
"""

from __future__ import annotations

from collections.abc import Collection

from arraygauge.inventory.values import Level
from arraygauge.judge.findings import Finding, Matter
from arraygauge.judge.state import ProtectionFacts

NO_WRITES = (
    "Write nothing to a member while its array is assembled: whatever is on it then no longer "
    "agrees with the others."
)
NO_BACKUP = (
    "An array keeps you working when a drive fails; it does not keep old versions or protect "
    "from mistakes. Only a copy elsewhere is a backup."
)
BY_SERIAL = (
    "Find the drive by its serial number and its slot, not by its kernel name, which may be "
    "another after the next start; and change one thing at a time."
)
STOP = (
    "More has failed than the redundancy covers. Stop: do not create the array anew, force it "
    "together or repair its filesystem. Note the order and the serial numbers of the drives, "
    "power down, and copy the drives whole before anything is tried, or ask a recovery "
    "professional. Open no drive."
)
COPY_FIRST = (
    "Copy the newest work elsewhere before a rebuild: its load on old drives can bring the next "
    "failure to light."
)
POWER = "Unless the bay is made for changing drives in use, power down and unplug it first."
UNCLEAN = (
    "A crash or a power cut while parity is incomplete can spoil data that was not even being "
    "written: shut down in order."
)
GOOD_COPY = (
    "A repair makes the copies agree, and may do so by writing the bad one over the good one: "
    "compare files with a backup or with checksums first."
)
HEALTH_FLAG = "That the drive calls itself healthy proves nothing."
NOT_VERIFIED = (
    "Restored is not verified: compare checksums before the source of a copy is wiped or reused."
)

ONLY_DRIVES = (
    "Parity and mirrors protect from a drive that fails, and from nothing else: not from "
    "deletion, a program that writes wrong, malware, fire, theft, or a controller or power supply "
    "that takes several drives with it."
)
STRIPES = (
    "raid0 and linear protect from nothing: the first drive that fails takes everything on all "
    "of them, and the more drives, the sooner."
)
ONE_LEFT = (
    "While a drive of a raid5, raid4 or two-way mirror is rebuilt, nothing is left to lose (of "
    "raid10: in that pair), and the rebuild reads the others from end to end."
)
WRITE_HOLE = (
    "After a crash or power cut parity may not fit the data until md has checked it; losing a "
    "drive before that can spoil data at rest. A journal or partial parity log closes this."
)

_WITHOUT_PARITY = (Level.RAID1, Level.RAID10)

_CAUTIONS: dict[Matter, tuple[str, ...]] = {
    Matter.DATA_INCOMPLETE: (STOP, BY_SERIAL, NO_BACKUP),
    Matter.NO_REDUNDANCY: (COPY_FIRST, BY_SERIAL, POWER, NO_WRITES, UNCLEAN, NOT_VERIFIED),
    Matter.LESS_REDUNDANCY: (COPY_FIRST, BY_SERIAL, POWER, NO_WRITES),
    Matter.DEVICE_HANGS: (BY_SERIAL, POWER, HEALTH_FLAG),
    Matter.READ_ERRORS: (BY_SERIAL, NO_WRITES, HEALTH_FLAG, NO_BACKUP),
    Matter.WRITE_ERRORS: (BY_SERIAL, NO_WRITES, NO_BACKUP),
    Matter.BAD_BLOCKS: (NO_BACKUP, BY_SERIAL, HEALTH_FLAG),
    Matter.LINK_LOW: (BY_SERIAL, POWER),
    Matter.SLOW_MEMBER: (BY_SERIAL, NO_WRITES, HEALTH_FLAG),
    Matter.SLOW_PATH: (POWER,),
    Matter.SLOW_DRIVE: (BY_SERIAL, HEALTH_FLAG),
    Matter.DRIFT: (BY_SERIAL, HEALTH_FLAG),
    Matter.MISMATCHES: (GOOD_COPY, NO_BACKUP),
}


def cautions_for(finding: Finding) -> tuple[str, ...]:
    """Those that apply, the most urgent first; none where nobody need do anything."""
    facts = finding.facts
    copies_only = isinstance(facts, ProtectionFacts) and facts.level_text in _WITHOUT_PARITY
    found = _CAUTIONS.get(finding.matter, ())
    return tuple(each for each in found if not (copies_only and each is UNCLEAN))


_PARITY = (Level.RAID4, Level.RAID5, Level.RAID6)
_UNPROTECTED = (Level.RAID0, Level.LINEAR)


def cautions_for_levels(levels: Collection[Level]) -> tuple[str, ...]:
    """What redundancy of these levels protects from and what it does not."""
    chosen = set(levels)
    found = [NO_BACKUP]
    if chosen.difference(_UNPROTECTED):
        found.append(ONLY_DRIVES)
    if chosen.intersection(_UNPROTECTED):
        found.append(STRIPES)
    if chosen.difference(_UNPROTECTED, (Level.RAID6,)):
        found.append(ONE_LEFT)
    if chosen.intersection(_PARITY):
        found.append(WRITE_HOLE)
    return tuple(found)
