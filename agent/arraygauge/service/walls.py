"""Finding what devices share, by reading them alone and then together."""

from __future__ import annotations

from arraygauge.errors import UnknownDeviceError
from arraygauge.inventory.values import BlockDevice, Host
from arraygauge.probe.values import Attempt
from arraygauge.probe.wall_runs import WallReport
from arraygauge.service.probing import Progress
from arraygauge.service.survey import Announce, Surveyor
from arraygauge.service.targets import Targets, choose_targets
from arraygauge.values import frozen


@frozen
class WallFindings:
    """``attempts`` are the solo readings; ``report`` is None where fewer than two gave a rate."""

    host: Host
    attempts: dict[str, Attempt]
    report: WallReport | None


def find_walls(
    surveyor: Surveyor, names: tuple[str, ...], progress: Progress, announce: Announce
) -> WallFindings:
    """The walls among the members of the named arrays and the named devices; among all drives
    of the machine where none is named; ``announce`` is told what reading each alone may spend,
    and reading them together spends no more. UnknownDeviceError for a name it does not have."""
    host, probing = surveyor.hosts.read(), surveyor.probing()
    devices = tuple(_plain(host, choose_targets(host, names).devices))
    if len(devices) < 2:
        raise UnknownDeviceError(
            f"only {len(devices)} drive to read, and a limit is shared by two at least",
            "name an array or several drives",
        )
    targets = Targets(arrays=(), devices=devices)
    announce(probing.forecast(host, targets))
    attempts = probing.probe_all(host, targets, progress)
    progress("them together", len(devices), len(devices))
    report = probing.walls_among(host, attempts)
    return WallFindings(host=host, attempts=attempts, report=report)


def _plain(host: Host, devices: tuple[BlockDevice, ...]) -> list[BlockDevice]:
    """Not the members that are arrays: their own members are among the devices."""
    return [device for device in devices if host.array(device.name) is None]
