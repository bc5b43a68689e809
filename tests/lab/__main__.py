"""``python -m lab``: boots a lab machine with md arrays and runs ``arraygauge check`` in it."""

from __future__ import annotations

import json
import signal
import sys
import time

from lab import ArraySpec, Drive, Guest, LabError, Machine, Transport, Uplink
from lab.host import why_unavailable

CHECK_SECONDS = 600
RATE = 60_000_000
WALL = 3 * RATE

VERDICTS = (0, 3, 4, 5)
"""Exit statuses of a check that did its work, whatever it found."""

CONFIG_PATH = "/run/arraygauge/config.toml"
STRIPE = {
    "stripe-a": Transport.VIRTIO,
    "stripe-b": Transport.AHCI,
    "stripe-c": Transport.NVME,
    "stripe-d": Transport.VIRTIO,
}
PARITY = {
    "parity-a": Transport.NVME,
    "parity-b": Transport.VIRTIO,
    "parity-c": Transport.AHCI,
    "parity-d": Transport.VIRTIO,
}
MIRROR = {"mirror-a": Transport.AHCI, "mirror-b": Transport.NVME}

MACHINE = Machine(
    uplinks=(Uplink(name="wall", bytes_per_second=WALL),),
    drives=(
        *(
            Drive(name=name, transport=transport, bytes_per_second=RATE, uplink="wall")
            for name, transport in STRIPE.items()
        ),
        *(
            Drive(name=name, transport=transport, bytes_per_second=RATE)
            for name, transport in (PARITY | MIRROR).items()
        ),
    ),
    arrays=(
        ArraySpec(name="md0", level="raid0", members=tuple(STRIPE)),
        ArraySpec(name="md1", level="raid5", members=tuple(PARITY), layout=2),
        ArraySpec(name="md2", level="raid1", members=tuple(MIRROR), chunk_bytes=0),
    ),
)

DESCRIPTION = f"""\
This machine is simulated: a real Linux kernel with md, in QEMU without hardware help.
Its drives hold random bytes and are held to {RATE // 10**6} MB/s each.
  md0  raid0 of four drives, on one uplink of {WALL // 10**6} MB/s
  md1  raid5 of four drives, one of them failed
  md2  raid1 of two drives
"""


def main() -> int:
    """0 when the check did its work; 1 with the reason when the lab cannot run."""
    if missing := why_unavailable():
        print(missing, file=sys.stderr)
        return 1
    print(DESCRIPTION, flush=True)
    started = time.monotonic()
    with Guest(MACHINE) as guest:
        guest.fail("md1", "parity-c")
        guest.write(CONFIG_PATH, configuration(guest))
        print(f"up after {time.monotonic() - started:.1f} s; now 'arraygauge check':\n", flush=True)
        status = check(guest)
    print(f"'arraygauge check' ended with status {status}; see 'arraygauge check --help'")
    return 0 if status in VERDICTS else status


def configuration(guest: Guest) -> str:
    """What the agent is told about the machine: the uplink, which no kernel shows."""
    devices = [guest.device(name) for name in STRIPE]
    return (
        "[probe]\nlongest_burst_seconds = 4\n"
        f'[[uplink]]\nname = "wall"\ndevices = {json.dumps(devices)}\n'
        f"read_mb_per_second = {WALL // 10**6}\n"
    )


def check(guest: Guest) -> int:
    """Shows what the check writes as it comes; its exit status."""
    command = [sys.executable, "-m", "arraygauge", "--config", CONFIG_PATH, "check"]
    running = guest.start(command)
    for text in running.follow(CHECK_SECONDS):
        print(text, end="", flush=True)
    return running.wait().status


if __name__ == "__main__":
    # SIGTERM must end the guest as Ctrl-C does, not leave it to the kernel.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        sys.exit(main())
    except (LabError, TimeoutError) as error:
        sys.exit(f"the lab failed: {error}")
    except KeyboardInterrupt:
        sys.exit(130)
