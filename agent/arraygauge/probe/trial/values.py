"""What a trial asks of drives and of the arrays it makes, and what came of it."""

from __future__ import annotations

from random import Random

from arraygauge.inventory.values import DeviceNumber
from arraygauge.values import frozen

MARK_PLACES = 32
BLOCK_BYTES = 4096
SECTOR_BYTES = 512
NUMBER_BYTES = 8


@frozen
class Mark:
    """The places in each 4 KiB that a trial's blocks have zero. Which they are is decided by a
    random ``seed``, kept in the trial's record."""

    seed: str

    @property
    def places(self) -> tuple[int, ...]:
        """None among the first 8 bytes of a sector, which hold its number."""
        free = [at for at in range(BLOCK_BYTES) if at % SECTOR_BYTES >= NUMBER_BYTES]
        return tuple(sorted(Random(self.seed).sample(free, MARK_PLACES)))  # noqa: S311


@frozen
class Suspect:
    """A drive to be examined. ``exclusively`` unless md holds it for the trial already."""

    device: str
    path: str
    number: DeviceNumber
    exclusively: bool = True


@frozen
class Signature:
    """What libblkid knows: 'filesystem ext4', 'raid linux_raid_member', 'partition table gpt'."""

    kind: str
    name: str


@frozen
class Examined:
    """What one drive holds, as far as was looked.

    ``problem`` says why it could not be looked at; the rest then means nothing. ``strange_at``
    is where the first block lies, of all in ``places``, that is neither blank nor a trial's;
    ``trial_blocks`` of those looked at are a trial's.
    """

    device: str
    problem: str | None
    size_bytes: int = 0
    signatures: tuple[Signature, ...] = ()
    strange_at: int | None = None
    places: int = 0
    trial_blocks: int = 0

    @property
    def blank(self) -> bool:
        return self.problem is None and self.strange_at is None and not self.signatures


class Permit:
    """Leave to write to one md array, which ``arraygauge.trial`` gives once it has made it.

    Not a plain value: made by ``grant`` only, and spent when the array is stopped.
    """

    __slots__ = ("_valid", "device", "number")

    def __init__(self, device: str, number: DeviceNumber, *, key: object = None) -> None:
        if key is not _KEY:
            raise TypeError("a permit is granted, not made")
        self.device, self.number, self._valid = device, number, True

    @property
    def valid(self) -> bool:
        return self._valid

    def revoke(self) -> None:
        """The array is to be stopped: nothing is written from here on."""
        self._valid = False


_KEY = object()
MD_MAJOR = 9
"""Of md devices and of nothing else: the kernel's Documentation/admin-guide/devices.txt."""


def grant(device: str, number: DeviceNumber) -> Permit:
    """Leave to write to the array of that name and number. ValueError for what is no md array."""
    if number[0] != MD_MAJOR or not device.startswith("md"):
        raise ValueError(f"{device} ({number[0]}:{number[1]}) is no md array")
    return Permit(device, number, key=_KEY)
