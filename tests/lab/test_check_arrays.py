"""`arraygauge check` on real md arrays: healthy ones give what theory expects.

The drives are throttled by QEMU to an exact rate; all expectations are the agent's own.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator

import pytest

from lab.agent import AMPLE_BUDGET, SHORT_BURSTS, Verdicts, check
from lab.guest import Guest
from lab.machine import ArraySpec, Drive, Machine, Transport, Uplink
from lab.whole import some_of

pytestmark = [pytest.mark.lab, pytest.mark.measures]

DRIVE = 60_000_000
UNCAPPED = 1_000_000_000
NAMES = ("alder", "birch", "cedar", "elder", "fir")
TRANSPORTS = (Transport.VIRTIO, Transport.AHCI, Transport.NVME, Transport.VIRTIO, Transport.AHCI)
LONG_BURSTS = (
    "[probe]\nlongest_burst_seconds = 9\nmax_seconds = 20\ninterval_half_width = 0.1\n"
    + AMPLE_BUDGET
)
"""A drive of 15 MB/s needs half a second for the 8 MiB in flight alone."""

MACHINE = Machine(
    drives=tuple(
        Drive(name=name, transport=transport, bytes_per_second=DRIVE, uplink="chipset")
        for name, transport in zip(NAMES, TRANSPORTS, strict=True)
    ),
    uplinks=(Uplink(name="chipset", bytes_per_second=UNCAPPED),),
)

ARRAYS = [
    ("raid0", 3, None),
    ("raid0", 2, None),
    ("raid1", 2, None),
    ("raid0", 4, None),
    ("raid10", 4, 258),
    ("raid0", 5, None),
    ("raid5", 4, 2),
    ("raid5", 3, 2),
    ("raid6", 4, 2),
    ("raid5", 5, 2),
]


def spec(level: str, width: int, layout: int | None = None) -> ArraySpec:
    chunk = 0 if level == "raid1" else 64 * 1024
    return ArraySpec(
        name="md0", level=level, members=NAMES[:width], chunk_bytes=chunk, layout=layout
    )


@pytest.fixture(scope="module")
def guest(boot_lab: Callable[[Machine], Guest]) -> Guest:
    return boot_lab(MACHINE)


@pytest.fixture(scope="module")
def table(request: pytest.FixtureRequest) -> Iterator[list[str]]:
    """Lines of expected, measured and ratio, printed when the module is done."""
    lines: list[str] = []
    yield lines
    capture = request.config.pluginmanager.getplugin("capturemanager")
    with capture.global_and_fixture_disabled():
        print("\narray            expected MB/s  measured MB/s   ratio  bottleneck")
        print("\n".join(lines))


def row(name: str, verdict: Verdicts) -> str:
    expected = verdict["expected"]
    return (
        f"{name:16} {expected['ceiling_bytes_per_second'] / 1e6:13.1f}  "
        f"{verdict['measured']['bytes_per_second'] / 1e6:13.1f}  {verdict['ratio']:6.3f}  "
        f"{expected['bottleneck']}"
    )


@pytest.mark.parametrize(("level", "width", "layout"), some_of(ARRAYS, 2))
def test_healthy_array_measures_within_five_per_cent_of_its_expectation(
    guest: Guest, table: list[str], level: str, width: int, layout: int | None
) -> None:
    guest.create(spec(level, width, layout))
    try:
        status, document = check(guest, "md0")
    finally:
        guest.stop("md0")
    [verdict] = document["arrays"]
    table.append(row(f"{level} x {width}", verdict))
    assert verdict["ratio"] == pytest.approx(1, abs=0.05)
    assert (status, verdict["pace"]) == (0, "as expected"), verdict["explanation"]
    assert verdict["odd_members"] == []


@pytest.mark.parametrize("width", some_of([4, 3, 5], 3))
def test_stripe_behind_a_declared_uplink_of_three_drives_is_bound_by_it(
    guest: Guest, table: list[str], width: int
) -> None:
    guest.create(spec("raid0", width))
    guest.limit_uplink("chipset", 3 * DRIVE)
    try:
        devices = json.dumps([guest.device(name) for name in NAMES])
        uplink = (
            f'[[uplink]]\nname = "chipset"\ndevices = {devices}\n'
            f"read_mb_per_second = {3 * DRIVE // 10**6}\n"
        )
        status, document = check(guest, "md0", config=SHORT_BURSTS + uplink)
    finally:
        guest.limit_uplink("chipset", UNCAPPED)
        guest.stop("md0")
    [verdict] = document["arrays"]
    table.append(row(f"raid0 x {width}, uplink", verdict))
    assert verdict["expected"]["bottleneck"] == "chipset"
    assert verdict["ratio"] == pytest.approx(1, abs=0.05)
    assert status == 0


def test_stripe_behind_an_undeclared_uplink_points_to_something_shared(guest: Guest) -> None:
    guest.create(spec("raid0", 5))
    guest.limit_uplink("chipset", 3 * DRIVE)
    try:
        status, document = check(guest, "md0")
    finally:
        guest.limit_uplink("chipset", UNCAPPED)
        guest.stop("md0")
    [verdict] = document["arrays"]
    assert status == 3
    assert verdict["cause"] in ("unseen shared limit", "shared limit found by measurement")


def test_member_slowed_to_a_quarter_is_named_by_the_next_pass_with_its_share(
    guest: Guest,
) -> None:
    guest.create(spec("raid0", 4))
    try:
        before_status, before = check(guest, "md0")
        guest.limit("cedar", DRIVE // 4)
        status, document = check(guest, "md0", config=LONG_BURSTS)
    finally:
        guest.limit("cedar", DRIVE)
        guest.stop("md0")
    assert (before_status, before["arrays"][0]["odd_members"]) == (0, [])
    [verdict] = document["arrays"]
    [odd] = verdict["odd_members"]
    assert status == 3
    assert odd["name"] == guest.device("cedar")
    # QEMU lets 0.1 s worth of bytes and a whole transfer pass: a tenth of each place this slow.
    assert odd["bytes_per_second"] == pytest.approx(DRIVE / 4, rel=0.15)
    assert odd["explained_share"] > 0.9
    assert guest.device("cedar") in verdict["explanation"]
