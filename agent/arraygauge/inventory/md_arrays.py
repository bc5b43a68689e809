"""Every md array of the machine: those of sysfs, and any only /proc/mdstat still knows."""

from __future__ import annotations

from collections.abc import Mapping

from arraygauge.inventory.identities import Known
from arraygauge.inventory.identity import identify_array
from arraygauge.inventory.md_array import read_array
from arraygauge.inventory.md_from_mdstat import array_from_mdstat
from arraygauge.inventory.mdstat import MdstatArray, read_mdstat
from arraygauge.inventory.stack import Entries
from arraygauge.inventory.tree import Reader
from arraygauge.inventory.values import Array, DeviceKind


def read_arrays(reader: Reader, entries: Entries, known: Mapping[str, Known]) -> list[Array]:
    """The arrays; one that went away while it was read is left out, with a problem noted."""
    told = {array.name: array for array in read_mdstat(reader).arrays}
    arrays = []
    for name, entry in entries.items():
        if entry.kind is DeviceKind.ARRAY:
            untold = MdstatArray(name=name, activity="unknown")
            stable_id = known[name].identity.stable_id
            array = read_array(reader, name, stable_id, told.get(name, untold))
            arrays += [array] if array else []
    for name, array_told in told.items():
        if name not in entries:
            stable_id = identify_array(name, None).stable_id
            arrays.append(array_from_mdstat(reader, array_told, stable_id))
    return arrays
