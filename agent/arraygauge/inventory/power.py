"""Whether the machine runs on a battery or on a UPS's reserve.

Kernel document: Documentation/ABI/testing/sysfs-class-power (type, scope, status, online,
present).
"""

from __future__ import annotations

from arraygauge.inventory.scalars import parse_count
from arraygauge.inventory.tree import Reader, Tree
from arraygauge.values import frozen

_SUPPLIES = "/sys/class/power_supply"
_RESERVES = frozenset({"Battery", "UPS"})


@frozen
class _Supply:
    """One supply of the machine itself; None is what it does not tell."""

    is_reserve: bool
    status: str | None
    online: bool | None


def read_on_battery(tree: Tree | None = None) -> bool | None:
    """True if a battery or UPS of the machine discharges, or holds it up with no mains online.

    None where no supply says: desktops without a UPS show none at all. Supplies of a
    device such as a mouse do not count, nor does an empty battery bay. A laptop's
    controller is asked, which can take some milliseconds: not for the middle of a burst.
    """
    reader = Reader(tree or Tree())
    found = (_read_supply(reader, f"{_SUPPLIES}/{name}") for name in reader.names(_SUPPLIES))
    return _is_on_battery([supply for supply in found if supply is not None])


def _read_supply(reader: Reader, base: str) -> _Supply | None:
    """None for what feeds no machine: a device's own supply, an empty bay, an unplugged one."""
    kind = reader.text(f"{base}/type")
    absent = reader.value(f"{base}/present", parse_count) == 0
    if kind is None or absent or reader.text(f"{base}/scope") == "Device":
        return None
    online = reader.value(f"{base}/online", parse_count)
    return _Supply(
        is_reserve=kind in _RESERVES,
        status=reader.text(f"{base}/status"),
        online=None if online is None else online > 0,
    )


def _is_on_battery(supplies: list[_Supply]) -> bool | None:
    statuses = {supply.status for supply in supplies if supply.is_reserve}
    mains = {supply.online for supply in supplies if not supply.is_reserve}
    if "Discharging" in statuses:
        return True
    if True in mains or "Charging" in statuses:
        return False
    if not statuses:
        # Unused charging sockets of a desktop are offline mains; it runs all the same.
        return False if supplies else None
    if False in mains:
        return True
    return False if statuses & {"Full", "Not charging"} else None
