"""Records how measured rates stray while nothing changes, for ``unit/judge/recorded_noise.json``:

``python -m bench.record_noise machine DEVICE MINUTES`` from tests/ measures this machine's drive
again and again, as ``arraygauge check`` does; ``python -m bench.record_noise lab MINUTES`` has a
running agent measure an idle stripe of three throttled drives in a lab machine, pass after pass.
Both append to the file: a series a subject, of rates in bytes per second and the half width of
their interval as a share. Series that begin with the same word were measured in the same passes.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from lab.agent import AMPLE_BUDGET, CONFIG
from lab.guest import Guest
from lab.test_drift import HISTORY, MACHINE, NAMES, asked

RECORDED = Path(__file__).parents[1] / "unit/judge/recorded_noise.json"
ONE_BURST_EACH = f"""[run]
interval_seconds = 1
[probe]
longest_burst_seconds = 1.2
interval_half_width = 0.2
max_seconds = 1.2
{AMPLE_BUDGET}"""
"""A fifth of what a pass may usually spend on doubt: more noise, and more passes."""

LITTLE_EACH = f"""[probe]
max_bytes = "128 MiB"
{AMPLE_BUDGET}"""
"""An eighth of what a pass may usually read: more noise, and forty cost some gigabytes."""
PAUSE_SECONDS = 5.0

Reading = tuple[float, float | None]
Readings = list[Reading]


def of_machine(device: str, seconds: float) -> dict[str, Readings]:
    """This machine's drive, read through an own file where it holds the running system."""
    readings: Readings = []
    with tempfile.TemporaryDirectory(dir="/var/tmp") as folder:
        config = Path(folder) / "config.toml"
        config.write_text(LITTLE_EACH)
        command = [sys.executable, "-m", "arraygauge", "--config", str(config)]
        environment = {**os.environ, "STATE_DIRECTORY": folder}
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            done = subprocess.run(
                [*command, "check", "--json", device],
                capture_output=True,
                text=True,
                check=False,
                env=environment,
            )
            measured = json.loads(done.stdout)["devices"][0]["measured"]
            if measured is not None and measured.get("rate_may_be_judged"):
                readings.append(
                    reading(
                        measured["bytes_per_second"],
                        measured["low_bytes_per_second"],
                        measured["high_bytes_per_second"],
                    )
                )
            time.sleep(PAUSE_SECONDS)
    return {f"machine {device}": readings}


def of_lab(seconds: float) -> dict[str, Readings]:
    """A lab machine's drives and the stripe over them."""
    with Guest(MACHINE) as guest:
        guest.run(f"rm -rf {HISTORY}/*").checked()
        guest.write(CONFIG, ONE_BURST_EACH)
        daemon = guest.start_module("arraygauge", "--config", CONFIG, "run")
        time.sleep(seconds)
        daemon.signal(signal.SIGTERM)
        daemon.wait(30)
        members = {name: guest.device(name) for name in NAMES}
        past = {
            name: asked(guest, "history", device, "--json")["measurements"]
            for name, device in {**members, "md0": "md0"}.items()
        }
    passes = list(whole_passes(past))
    return {f"lab {name}": [one[name] for one in passes] for name in past}


def whole_passes(past: Mapping[str, list[dict[str, Any]]]) -> Iterator[dict[str, Reading]]:
    """The passes that gave a usable rate of each, in order. A pass reads the array last, so
    what it read of the members lies between one reading of the array and the next."""
    made = sorted(
        (
            (each["started_at_seconds"], name, each)
            for name, all_of in past.items()
            for each in all_of
        ),
        key=lambda one: one[0],
    )
    current: dict[str, Reading] = {}
    for _, name, each in made:
        if each["rate"]:
            current[name] = reading(each["rate"], each["low"], each["high"])
        if name == "md0":
            if current.keys() == past.keys():
                yield current
            current = {}


def reading(rate: float, low: float | None, high: float | None) -> Reading:
    """To a byte per second and five digits."""
    if low is None or high is None:
        return round(rate), None
    return round(rate), round((high - low) / 2 / rate, 5)


def main() -> None:
    where, *words = sys.argv[1:]
    seconds = 60 * float(words[-1])
    found = of_machine(words[0], seconds) if where == "machine" else of_lab(seconds)
    known: dict[str, Readings] = json.loads(RECORDED.read_text()) if RECORDED.exists() else {}
    for name, readings in found.items():
        known[name] = [*known.get(name, []), *readings]
    lines = [f"{json.dumps(name)}: {json.dumps(readings)}" for name, readings in known.items()]
    RECORDED.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="ascii")
    print({name: len(readings) for name, readings in found.items()})


if __name__ == "__main__":
    main()
