"""From names to drives that a trial may erase: every guard, in order, each time anew."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Sequence

from arraygauge.errors import MachineTroubleError
from arraygauge.inventory.counters import CounterReader
from arraygauge.inventory.openers import read_openers
from arraygauge.inventory.swaps import read_swaps
from arraygauge.inventory.tree import Reader, Tree
from arraygauge.inventory.values import BlockDevice, Host
from arraygauge.probe.stop import StopToken
from arraygauge.probe.trial.examine import examine
from arraygauge.probe.trial.values import Examined, Mark, Suspect
from arraygauge.trial.drives import RefusedError, Surroundings, forbidden, refuse
from arraygauge.values import frozen

PASSING_SECONDS = 2.0
ReadHost = Callable[[], Host]


@frozen
class Cleared:
    """A drive that nothing forbids to erase. ``blank`` as far as was looked: if not, a person
    has to type its serial number first. ``written_bytes`` is the kernel's count of what was
    written to it when it was looked at: anything written since is somebody else's."""

    device: BlockDevice
    examined: Examined
    written_bytes: int

    @property
    def blank(self) -> bool:
        return self.examined.blank


def check_root() -> None:
    """Raises RefusedError for anyone else."""
    if os.geteuid() != 0:
        raise RefusedError(
            "a trial makes arrays and erases drives, which only root may", "run it as root"
        )


def clear_drives(
    host: Host, drives: Sequence[BlockDevice], marks: Sequence[Mark], stop: StopToken
) -> tuple[Cleared, ...]:
    """Raises RefusedError for the first drive that may not be erased, MachineTroubleError where
    that cannot be found out."""
    around = read_surroundings(drives)
    for device in drives:
        refuse(device, forbidden(host, device, around))
    before = written_to(drives)
    suspects = [Suspect(device=each.name, path=each.node, number=each.number) for each in drives]
    found = examine(suspects, marks, stop)
    for device, each in zip(drives, found, strict=True):
        refuse(device, _held_against(device, each))
    return tuple(
        Cleared(device=device, examined=each, written_bytes=before[device.name])
        for device, each in zip(drives, found, strict=True)
    )


def _held_against(device: BlockDevice, found: Examined) -> tuple[str, ...]:
    if found.problem is not None:
        return (found.problem,)
    if found.size_bytes != device.size_bytes:
        return (f"it is {found.size_bytes} bytes long and not {device.size_bytes}",)
    return tuple(
        f"it carries the signature of {each.name} ({each.kind})" for each in found.signatures
    )


def still_cleared(read_host: ReadHost, cleared: Sequence[Cleared], own: str) -> None:
    """To be asked once md holds the drives for the array ``own``: nobody else can claim them
    any more, and this says whether anybody did, or wrote to them, since they were cleared.

    Raises RefusedError for a drive that is not as it was.
    """
    host = read_host()
    drives = [each.device for each in cleared]
    now = written_to(drives)
    for each in cleared:
        device = host.device(each.device.name)
        if device is None or not _same(device, each.device):
            gone = f"{each.device.name} is not the drive any more that it was"
            raise RefusedError(f"{each.device.stable_id}: {gone}", "begin again")
        others = tuple(name for name in device.above if name != own)
        refuse(device, tuple(f"{name} was built on it meanwhile" for name in others))
        if now[device.name] != each.written_bytes:
            raise RefusedError(
                f"{device.stable_id} ({device.name}) is not erased: something wrote to it after "
                "it had been looked at",
                "find out what, and begin again",
            )


def _same(one: BlockDevice, other: BlockDevice) -> bool:
    identity = (one.stable_id, one.serial, one.number, one.sequence, one.size_bytes)
    return identity == (
        *(other.stable_id, other.serial, other.number, other.sequence, other.size_bytes),
    )


def read_surroundings(drives: Sequence[BlockDevice]) -> Surroundings:
    """What holds these drives, besides what the inventory shows; whoever only looks at a drive,
    as udev does when one appears, is waited for."""
    deadline = time.monotonic() + PASSING_SECONDS
    while (found := _surroundings(drives)).openers and time.monotonic() < deadline:
        time.sleep(0.1)
    return found


def _surroundings(drives: Sequence[BlockDevice]) -> Surroundings:
    paths = read_swaps(Reader(Tree()))
    return Surroundings(
        swaps=tuple(os.path.basename(os.path.realpath(path)) for path in paths),
        openers=read_openers({each.number for each in drives}),
    )


def written_to(drives: Sequence[BlockDevice]) -> dict[str, int]:
    """Bytes the kernel has counted as written to each, by name."""
    with CounterReader([each.name for each in drives]) as reader:
        counted = reader.read()
    for name, counters in counted.items():
        if counters is None:
            raise MachineTroubleError(
                f"{name}: the kernel counts no writes to it", "use a drive it counts them of"
            )
    return {name: counters.written_bytes for name, counters in counted.items() if counters}
