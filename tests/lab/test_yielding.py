"""Probing makes way for whoever comes to work, costs little, and does not count what is empty.

Drives are throttled by QEMU, which lets a tenth of a second's worth pass at once after
idleness. The rates are low enough that the throttles, not the emulated processors, are the
limit. ARRAYGAUGE_YIELDING_TIMES raises how often somebody comes into a burst, and
ARRAYGAUGE_YIELDING_PAIRS how often reading with the agent and without it alternate;
ARRAYGAUGE_YIELDING_PAUSE is how many seconds nobody reads before each of these.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from statistics import median

import pytest

from lab.agent import CONFIG, Verdicts, check
from lab.command import Running
from lab.foreground import Report, Work, read
from lab.guest import Guest
from lab.host import HERE
from lab.machine import ArraySpec, Contents, Drive, Machine, Mapped, Transport

pytestmark = [pytest.mark.lab, pytest.mark.measures]

TIMES = int(os.environ.get("ARRAYGAUGE_YIELDING_TIMES", "10"))
PAIRS = int(os.environ.get("ARRAYGAUGE_YIELDING_PAIRS", "2"))
MANY_PAIRS = 8
PAUSE_SECONDS = float(os.environ.get("ARRAYGAUGE_YIELDING_PAUSE", "0"))

MIB = 1 << 20
RATE = 60_000_000
QUICK_RATE = 200_000_000
MEMBERS = ("alder", "birch", "cedar", "elder")
MEMBER_RATE = 10_000_000
HALF_OF_THE_ARRAY = len(MEMBERS) * MEMBER_RATE / 2
FRAME_BYTES = 8 * MIB
"""More than what the throttles let pass at once, so that it is the drives that are waited for."""
MACHINE = Machine(
    drives=(
        # Bursts on it have no end of their own; what they read is zeros, which costs nothing.
        Drive(
            name="quick",
            transport=Transport.VIRTIO,
            bytes_per_second=QUICK_RATE,
            size_bytes=64 << 30,
            contents=Contents.NULL,
        ),
        Drive(name="idle", transport=Transport.VIRTIO, bytes_per_second=RATE),
        Drive(
            name="half",
            transport=Transport.VIRTIO,
            bytes_per_second=RATE,
            mapped=Mapped(share=0.5, piece_bytes=32 * MIB),
        ),
        *(
            Drive(
                name=name,
                transport=Transport.VIRTIO,
                bytes_per_second=MEMBER_RATE,
                size_bytes=128 * MIB,
            )
            for name in MEMBERS
        ),
    ),
    arrays=(ArraySpec(name="md0", level="raid0", members=MEMBERS),),
)

Say = Callable[[str], None]


def uncertainty(measured: Verdicts) -> float:
    """Half the interval's width as a share of the rate."""
    low, high = measured["low_bytes_per_second"], measured["high_bytes_per_second"]
    return float((high - low) / 2 / measured["bytes_per_second"])


@pytest.fixture(scope="module")
def guest(boot_lab: Callable[[Machine], Guest]) -> Guest:
    return boot_lab(MACHINE)


@pytest.fixture
def say(request: pytest.FixtureRequest) -> Say:
    """Prints figures though the test passes."""
    capture = request.config.pluginmanager.getplugin("capturemanager")

    def aloud(line: str) -> None:
        with capture.global_and_fixture_disabled():
            print(f"\n{line}", end="")

    return aloud


def test_a_burst_ends_soon_after_somebody_begins_to_read(guest: Guest, say: Say) -> None:
    """From the foreground's first request until none of the probe's is in flight: 50 ms in the
    median, 150 at most. Somebody reads half of what the drive can give, 1 MiB at a time."""
    device = guest.device("quick")
    program = [sys.executable, str(HERE / "burst_endings.py"), device, str(TIMES)]
    work = [f"/dev/{device}", str(QUICK_RATE / 2), str(MIB), "1"]
    done = guest.run([*program, *work], timeout_seconds=30 + 6 * TIMES).checked()
    told = [json.loads(line) for line in done.stdout.splitlines()]
    noticed = [1000 * (each["noticed"] - each["began"]) for each in told if each["noticed"]]
    at_rest = [1000 * (each["at_rest"] - each["began"]) for each in told if each["at_rest"]]
    say(f"{len(told)} bursts, milliseconds from the foreground's first request:")
    say(f"  noticed  median {median(noticed):5.1f}  worst {max(noticed):5.1f}")
    say(f"  at rest  median {median(at_rest):5.1f}  worst {max(at_rest):5.1f}")
    assert len(told) == TIMES
    assert len(at_rest) >= 0.9 * TIMES, "now and then one is over by itself just before"
    assert min(noticed) > 0, "nobody was there yet"
    assert median(at_rest) <= 50
    assert max(at_rest) <= 150


@pytest.fixture(scope="module")
def checked(guest: Guest) -> dict[str, Verdicts]:
    """One check of two drives, one of them half empty, by the default configuration."""
    names = {name: guest.device(name) for name in ("idle", "half")}
    _, document = check(guest, *names.values(), config="")
    verdicts = {device["name"]: device for device in document["devices"]}
    return {name: verdicts[device] for name, device in names.items()}


def test_an_idle_drive_is_known_to_three_per_cent_for_so_many_bytes(
    checked: dict[str, Verdicts], say: Say
) -> None:
    measured = checked["idle"]["measured"]
    say(
        f"idle drive of {RATE / 1e6:g} MB/s, 1 MiB in sequence: "
        f"{measured['bytes_per_second'] / 1e6:.2f} MB/s ± "
        f"{100 * uncertainty(measured):.2f} % for {measured['bytes_read'] / MIB:.0f} MiB "
        f"in {measured['bursts']} bursts, {measured['seconds']:.2f} s"
    )
    assert measured["outcome"] == "completed"
    assert uncertainty(measured) <= 0.03
    assert measured["bytes_per_second"] == pytest.approx(RATE, rel=0.05)
    assert measured["bytes_read"] <= 512 * MIB


def test_of_a_half_empty_drive_the_rate_of_the_stored_half_is_told(
    checked: dict[str, Verdicts], say: Say
) -> None:
    """What was never written is answered faster than the drive reads."""
    device = checked["half"]
    say(f"half-mapped drive of {RATE / 1e6:g} MB/s: {device['explanation']}")
    assert device["measured"]["bytes_per_second"] == pytest.approx(RATE, rel=0.05)
    set_aside, kept = device["measured"]["set_aside"], device["measured"]["places"]
    assert min(len(set_aside), len(kept)) > 0
    words = f"{len(set_aside)} of {len(set_aside) + len(kept)} places held zeros"
    assert words in device["explanation"]


SCHEDULE = "[run]\ninterval_seconds = 1\n[budget]\nhour_seconds = 3000\nday_seconds = 3000\n"
FREEZER = "/run/groups"
"""Here a version 2 control group is mounted (Documentation/admin-guide/cgroup-v2.rst)."""


@dataclass(slots=True)
class Agent:
    """`arraygauge run` in a control group of its own, which can be frozen with all its children."""

    guest: Guest
    running: Running

    def freeze(self, *, frozen: bool) -> None:
        self.guest.write(f"{FREEZER}/agent/cgroup.freeze", str(int(frozen)))

    def bytes_read(self) -> int:
        """Of the array's members, by whomever."""
        return sum(self.guest.counters(name).read_bytes for name in MEMBERS)

    def processor_seconds(self) -> float:
        lines = self.guest.read(f"{FREEZER}/agent/cpu.stat").splitlines()
        return int(dict(line.split() for line in lines)["usage_usec"]) / 1e6


@pytest.fixture
def agent(guest: Guest) -> Iterator[Agent]:
    """It passes over the machine once a second, where usual is once an hour."""
    guest.write(CONFIG, SCHEDULE)
    guest.run(
        f"mkdir -p {FREEZER}; mountpoint -q {FREEZER} || mount -t cgroup2 none {FREEZER}; "
        f"mkdir -p {FREEZER}/agent"
    ).checked()
    command = f"{sys.executable} -m arraygauge --config {CONFIG} run"
    running = guest.start(f"echo $$ >{FREEZER}/agent/cgroup.procs; exec {command}")
    running.wait_for_output("metrics")
    agent = Agent(guest, running)
    yield agent
    agent.freeze(frozen=False)
    running.kill()


def test_a_reader_at_half_the_array_s_rate_is_not_disturbed_by_scheduled_passes(
    guest: Guest, agent: Agent, say: Say
) -> None:
    """At most 1 % of its rate is lost, and the 99th percentile of its waits grows by at most
    5 %. The agent is let go and frozen by turns. A few turns without it differ by more than
    that among themselves: then the longest of their percentiles is what may grow so much."""
    work = Work(
        path="/dev/md0",
        seconds=5,
        transfer_bytes=FRAME_BYTES,
        bytes_per_second=HALF_OF_THE_ARRAY,
    )
    reports: dict[bool, list[Report]] = {True: [], False: []}
    spent, probed = 0.0, 0
    for index in range(2 * PAIRS):
        present = index % 4 in (1, 2)
        agent.freeze(frozen=not present)
        time.sleep(PAUSE_SECONDS)
        before, held = agent.processor_seconds(), agent.bytes_read()
        report = read(guest, work)
        reports[present].append(report)
        spent += agent.processor_seconds() - before
        probed += agent.bytes_read() - held - report.bytes
    rates = {key: median(each.bytes_per_second for each in some) for key, some in reports.items()}
    waits = {
        key: median(each.latency_seconds.p99 for each in some) for key, some in reports.items()
    }
    for present, words in ((False, "without"), (True, "with")):
        each = [f"{1000 * report.latency_seconds.p99:.2f}" for report in reports[present]]
        say(f"{words:8} {rates[present] / 1e6:.3f} MB/s, p99 {1000 * waits[present]:.2f} ms")
        say(f"         p99 of each: {', '.join(each)} ms")
    say(f"meanwhile the agent took {spent:.1f} s of a processor and read {probed / MIB:.0f} MiB")
    assert rates[True] >= 0.99 * rates[False]
    alone = [each.latency_seconds.p99 for each in reports[False]]
    assert waits[True] <= 1.05 * (waits[False] if PAIRS >= MANY_PAIRS else max(alone))
