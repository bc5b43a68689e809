"""How long members are read together, and by which transfers. Pure.

The spans were chosen so that they hold from a hard disk behind a slow bridge to NVMe drives of
several GB/s behind one uplink:

- a run may read a quarter of the bytes that are left (at first: of what the solo readings took).
  Behind a wall runs cost less than at solo rates, so the next ones grow longer by themselves,
  and there are always bytes for one more, down to the shortest;
- within that it lasts as long as a hundred transfers of its slowest member, and 0.3 s more for
  what has to settle. Up to half of it may be left out as unsettled; fifty transfers give a
  rate within 1 to 2 %;
- not less than 60 of those transfers, nor than 30 ms: the processes begin within about 1 ms
  of each other, and a drive of 7 GB/s carries 200 transfers of 1 MiB in that time; not more
  than 2 s;
- where a transfer would take a drive more than 8 ms alone, it is halved, down to 128 KiB:
  sequential reads are no slower by that, and a rate is told sooner.

Solo readings of 512 MiB on four drives of 7 GB/s thus allow runs of 30 ms, at full speed 0.8 GB
each and behind an uplink of 7 GB/s 0.2 GB; four disks of 200 MB/s, read alone for 1.1 s each,
runs of 0.31 s at first.
"""

from __future__ import annotations

from collections.abc import Mapping

from arraygauge.theory import Workload
from arraygauge.units import KIB

PART_OF_REST = 4
WANTED_TRANSFERS, LEAST_TRANSFERS = 100, 60
SETTLING_SECONDS = 0.3
SHORTEST_SECONDS, LONGEST_SECONDS = 0.03, 2.0
TRANSFER_SECONDS = 0.008
SMALLEST_TRANSFER = 128 * KIB
FASTER_IN_FEWER = 1.3
"""How much faster a member is taken to be when fewer are read: of four on one wall, three."""


def transfer_bytes(usual: int, bytes_per_second: float) -> int:
    """The transfer for a drive that is this fast alone."""
    size = usual
    while size > max(SMALLEST_TRANSFER, TRANSFER_SECONDS * bytes_per_second):
        size //= 2
    return size


def run_seconds(
    rates: Mapping[str, float], transfers: Mapping[str, int], bytes_left: float
) -> float:
    """How long to read the members, whose ``rates`` (bytes per second) are expected."""
    slowest = max(transfers[name] / rate for name, rate in rates.items())
    wanted = SETTLING_SECONDS + WANTED_TRANSFERS * slowest
    affordable = bytes_left / PART_OF_REST / sum(rates.values())
    least = max(LEAST_TRANSFERS * slowest, SHORTEST_SECONDS)
    return min(max(min(wanted, affordable), least), LONGEST_SECONDS)


def in_flight_bytes(workload: Workload) -> int:
    """What is still read when a run is told to end."""
    return workload.queue_depth * workload.transfer_bytes
