"""What the figures mean, as values; tell puts them into words."""

from __future__ import annotations

from enum import StrEnum

from arraygauge.inventory.values import Array, BlockDevice, Host, Link
from arraygauge.judge.footage_values import FootageVerdict
from arraygauge.judge.past_trial import SinceTrial
from arraygauge.probe.values import Attempt
from arraygauge.probe.writes.values import WriteAttempt
from arraygauge.theory import Expectation, Survivable
from arraygauge.theory.walls import Wall
from arraygauge.values import frozen


@frozen
class Tolerances:
    """Shares of the expected rate below which something is said.

    Starting values are common practice on acceptance of new arrays, no published
    source: 7 % below is noted, 15 % below its peers makes a member odd.
    """

    short: float = 0.93
    odd_member: float = 0.85


class Pace(StrEnum):
    """Measured against expected."""

    AS_EXPECTED = "as expected"
    SHORT = "short of it"
    ABOVE = "above it"
    NO_REFERENCE = "nothing to compare with"
    NOT_MEASURED = "not measured"


class Protection(StrEnum):
    """What stands between the data and the next failure."""

    WHOLE = "whole"
    SETTLING = "settling"
    REDUCED = "reduced"
    NONE_LEFT = "none left"
    NEVER_ANY = "none by design"
    BROKEN = "broken"
    STOPPED = "stopped"
    UNKNOWN = "unknown"


class Cause(StrEnum):
    """What explains a shortfall."""

    SLOW_MEMBER = "slow member"
    MEMBERS_SLOWER = "members slower than they should be"
    UNSEEN_SHARED_LIMIT = "unseen shared limit"
    FOUND_SHARED_LIMIT = "shared limit found by measurement"
    BELOW_TRIAL = "slower than in its trial"
    SLOWER_THAN_PEERS = "slower than its peers"
    LOW_LINK = "link trained low"


@frozen
class OddMember:
    """A member unlike its peers: its own rate and theirs, bytes per second.

    ``explained_share`` is how much of the array's shortfall disappears from the
    model when only this member's rate is put right, 0 to 1; None when the array is
    not short or was not measured.
    """

    name: str
    bytes_per_second: float
    peers_bytes_per_second: float
    explained_share: float | None


@frozen
class Health:
    """``lost`` names members that failed or are gone; ``missing_slots`` also counts
    slots nobody holds; ``silent`` are members gone without md saying so."""

    protection: Protection
    working: int
    wanted: int
    lost: tuple[str, ...]
    silent: tuple[str, ...]
    missing_slots: tuple[int, ...]
    survivable: Survivable
    rebuilding: tuple[str, ...]

    @property
    def is_whole(self) -> bool:
        """Whether all members serve: the array then does the work that it usually does."""
        return self.protection in (Protection.WHOLE, Protection.NEVER_ANY)


@frozen
class DeviceVerdict:
    """One drive or partition. ``ratio`` is None where nothing says what it should do."""

    device: BlockDevice
    pace: Pace
    attempt: Attempt
    expectation: Expectation | None
    ratio: float | None
    cause: Cause | None
    low_links: tuple[Link, ...]


@frozen
class ArrayVerdict:
    """One array.

    ``expectation`` is what it should do in its present health with every member as
    good as its peers; ``as_found`` the same with the members' own measured rates.
    ``ratio`` is measured over the ceiling of ``expectation``. ``walls`` are limits that
    members were found to share when they were read together, certain or not; empty where
    nobody looked. ``footage`` are the promises made for it, ``since_trial`` what a trial of its
    drives gave, where there was one.
    """

    array: Array
    health: Health
    pace: Pace
    attempt: Attempt
    expectation: Expectation | None
    as_found: Expectation | None
    ratio: float | None
    cause: Cause | None
    odd_members: tuple[OddMember, ...]
    walls: tuple[Wall, ...] = ()
    footage: tuple[FootageVerdict, ...] = ()
    since_trial: SinceTrial | None = None


@frozen
class WriteVerdict:
    """Writing to an own file on an array or drive, or why that was left.

    ``name`` is the kernel's name of what the file lies on, or the directory that lies on no
    such thing; ``device`` is None then. ``expectation`` stands on the members' declared write
    rates. Where those are not known it stands on their read rates (``as_reading``): drives may
    write more slowly, so nothing is short of it, and ``ratio`` is None.
    """

    name: str
    device: BlockDevice | None
    pace: Pace
    attempt: WriteAttempt
    expectation: Expectation | None
    as_reading: bool
    ratio: float | None


@frozen
class Status:
    """One whole pass over the machine: what every way of telling reads from."""

    host: Host
    arrays: tuple[ArrayVerdict, ...]
    devices: tuple[DeviceVerdict, ...]
    seconds: float
    writes: tuple[WriteVerdict, ...] = ()
