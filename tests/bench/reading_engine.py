"""The reading child against a plain C loop, side by side on one loop device over memory.

Run as ``cd tests && python -m bench.reading_engine``; needs root (loop devices),
gcc and 1.2 GB of /dev/shm. Rounds alternate, and so does who begins, so that both meet the
same machine; figures are medians. Start-up is the child's whole life less its reading.
"""

from __future__ import annotations

import subprocess
import tempfile
import time
from pathlib import Path
from statistics import median

from arraygauge.probe.runner import Prober
from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import Burst
from unit.probe.loop_device import LoopDevice, attached, random_file
from unit.probe.probe_requests import reads, request

KIB, MIB = 1 << 10, 1 << 20
SIZE_MIB = 1024
ROUNDS = 9
CASES = ((MIB, 8), (128 * KIB, 8), (4 * KIB, 32))


def main() -> None:
    with tempfile.TemporaryDirectory(dir="/dev/shm") as held:
        directory = Path(held)
        yardstick = directory / "plain_loop"
        source = Path(__file__).with_name("plain_loop.c")
        subprocess.run(["gcc", "-O2", "-pthread", source, "-o", yardstick], check=True)
        with attached(random_file(directory / "random", SIZE_MIB)) as device:
            print(f"start-up {1000 * median(start_up(device) for _ in range(ROUNDS)):.1f} ms")
            for transfer_bytes, depth in CASES:
                compare(device, yardstick, transfer_bytes, depth)


def start_up(device: LoopDevice) -> float:
    began = time.perf_counter()
    reading = probe(device, MIB, 1, MIB).seconds
    return time.perf_counter() - began - reading


def compare(device: LoopDevice, yardstick: Path, transfer_bytes: int, depth: int) -> None:
    rates: dict[str, list[float]] = {"C": [], "child": []}
    for index in range(ROUNDS):
        for who in sorted(rates, reverse=index % 2 == 1):
            if who == "C":
                rate = plain_rate(device, yardstick, transfer_bytes, depth)
            else:
                rate = child_rate(device, transfer_bytes, depth)
            rates[who].append(rate)
    plain, ours = median(rates["C"]), median(rates["child"])
    print(
        f"{transfer_bytes // KIB:5d} KiB × {depth:2d}: C {plain / 1e6:7.0f} MB/s, "
        f"child {ours / 1e6:7.0f} MB/s, ratio {ours / plain:.3f}"
    )


def plain_rate(device: LoopDevice, yardstick: Path, transfer_bytes: int, depth: int) -> float:
    command = [str(yardstick), device.node, str(transfer_bytes), str(depth), "1"]
    said = subprocess.run(command, check=True, capture_output=True, text=True).stdout.split()
    return int(said[0]) / float(said[1])


def child_rate(device: LoopDevice, transfer_bytes: int, depth: int) -> float:
    (place,) = probe(device, transfer_bytes, depth, device.size_bytes).places
    return place.bytes_per_second


def probe(device: LoopDevice, transfer_bytes: int, depth: int, size: int) -> Burst:
    asked = request(
        device.node,
        number=device.number,
        workload=reads(transfer_bytes, depth),
        extents=((0, size),),
        place_seconds=1.0,
        warm_up_seconds=0.01,
    )
    return Prober(StopToken()).run(asked)


if __name__ == "__main__":
    main()
