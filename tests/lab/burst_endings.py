"""Runs in the guest: somebody begins to read in the midst of bursts; how soon does each end?

Arguments: the device to probe; how many times; the path that is read, at what rate, in
transfers of what size, how many at a time. Prints a JSON line for each time, with moments by
the guest's CLOCK_MONOTONIC, None where it did not come to that:

==========  ==============================================================================
began       the foreground's first request, which it noted itself
noticed     the agent decided to give way
at_rest     none of the probe's own reads was in flight any more
over        the probing process had ended and had been reaped
reason      what the agent gave for it
greatest    the foreground's longest wait for one of its reads, in seconds
==========  ==============================================================================

The bursts are the agent's own: its plan, sampler, lookout and child. What is in flight is known
from the words that the child shares, looked at each millisecond once the agent decided.
"""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

from arraygauge.inventory.values import Host
from arraygauge.probe.plan import ProbePlan, SamplingLimits, plan_array, plan_device
from arraygauge.probe.process import Lookout, OwnBytes
from arraygauge.probe.runner import Prober
from arraygauge.probe.sampling import Sampler
from arraygauge.probe.stop import StopToken
from arraygauge.probe.values import Burst, ProbeRequest
from arraygauge.service.host_reader import host_reader

READER = Path(__file__).with_name("foreground_reader.py")
LATEST_START_SECONDS = 0.65
"""After a burst's first bytes; by default it reads for about 1.1 s."""
FOREGROUND_SECONDS = 0.4
DRAIN_LOOK_SECONDS = 0.001
LIMITS = SamplingLimits()


class Foreground:
    """Somebody's reader, ready to begin."""

    def __init__(self, path: str, rate: str, transfer: str, depth: str) -> None:
        command = [sys.executable, "-I", "-S", str(READER), "--path", path, "--rate", rate]
        command += ["--transfer-bytes", transfer, "--depth", depth]
        command += ["--seconds", str(FOREGROUND_SECONDS)]
        self._process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        assert self._process.stderr is not None
        assert self._process.stderr.readline() == b"ready\n"

    def begin(self) -> None:
        os.kill(self._process.pid, signal.SIGUSR1)

    def report(self) -> dict[str, object]:
        told, _ = self._process.communicate(timeout=60)
        report: dict[str, object] = json.loads(told)
        return report


class Intrusion:
    """The agent's lookout, with a foreground begun in mid-burst and what is seen noted."""

    def __init__(self, lookout: Lookout, foreground: Foreground, delay_seconds: float) -> None:
        self.interval_seconds = lookout.interval_seconds
        self.noticed: float | None = None
        self.at_rest: float | None = None
        self.reason: str | None = None
        self._lookout = lookout
        self._timer = threading.Timer(delay_seconds, foreground.begin)
        self._watcher: threading.Thread | None = None

    def look(self, own: OwnBytes) -> str | None:
        self.reason = self._lookout.look(own)
        if self.reason is not None:
            self.noticed = time.monotonic()
            self._watcher = threading.Thread(target=self._see_out, args=(own,))
            self._watcher.start()
        elif not self._timer.ident and own()[1]:
            self._timer.start()
        return self.reason

    def conclude(self) -> None:
        if not self._timer.ident:
            self._timer.start()
        self._timer.join()
        if self._watcher is not None:
            self._watcher.join()

    def _see_out(self, own: OwnBytes) -> None:
        while self.at_rest is None:
            asked, came = own()
            if asked == came:
                self.at_rest = time.monotonic()
            time.sleep(DRAIN_LOOK_SECONDS)


class IntrudedProber(Prober):
    """The agent's, each of whose bursts somebody comes into."""

    def __init__(self, stop: StopToken, work: list[str], chance: random.Random) -> None:
        super().__init__(stop)
        self._work, self._chance = work, chance

    def run(self, request: ProbeRequest, lookout: Lookout | None = None) -> Burst:
        assert lookout is not None
        path, rate, transfer, depth = self._work
        foreground = Foreground(path, rate, transfer, depth)
        delay = self._chance.uniform(0, LATEST_START_SECONDS)
        intrusion = Intrusion(lookout, foreground, delay)
        burst = super().run(request, intrusion)
        over = time.monotonic()
        intrusion.conclude()
        report = foreground.report()
        told = {
            "began": report["started"],
            "noticed": intrusion.noticed,
            "at_rest": intrusion.at_rest,
            "over": over,
            "reason": intrusion.reason,
            "greatest": report["latency_seconds"]["greatest"],  # type: ignore[index]
            "outcome": burst.outcome,
        }
        print(json.dumps(told), flush=True)
        return burst


def planned(host: Host, name: str) -> ProbePlan:
    device, array = host.device(name), host.array(name)
    assert device is not None
    plan = plan_array(host, array, LIMITS) if array else plan_device(host, device, LIMITS)
    assert isinstance(plan, ProbePlan), plan
    return plan


def main() -> None:
    """One probing after another; each ends when its burst meets the foreground."""
    name, count, *work = sys.argv[1:]
    chance = random.Random(4)
    with host_reader() as hosts:
        plan = planned(hosts.read(), name)
    prober = IntrudedProber(StopToken(), work, chance)
    for _ in range(int(count)):
        limits = SamplingLimits(max_seconds=0.1, patience_seconds=5)
        Sampler(prober, chance).measure(plan, limits)


if __name__ == "__main__":
    main()
