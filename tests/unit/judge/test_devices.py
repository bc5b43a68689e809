"""Verdicts on single drives."""

from __future__ import annotations

import pytest

from arraygauge.inventory.values import Link, LinkKind, LinkRate
from arraygauge.judge import Cause, Grounds, Pace, assess_device
from arraygauge.theory import MemberRate, Source
from invented import drive, host, measured


def link(
    link_id: str, kind: LinkKind, negotiated: float, maximum: float, parent: str | None = None
) -> Link:
    return Link(
        link_id=link_id,
        kind=kind,
        name=link_id,
        negotiated=LinkRate(bits_per_second_per_lane=round(negotiated * 1e9), lanes=1),
        maximum=LinkRate(bits_per_second_per_lane=round(maximum * 1e9), lanes=1),
        parent_id=parent,
    )


def test_a_lone_drive_without_a_rating_is_measured_and_not_judged() -> None:
    alone = drive("sda")
    verdict = assess_device(host([], [alone]), alone, measured("sda", 5e8), {}, Grounds())
    assert (verdict.pace, verdict.ratio) == (Pace.NO_REFERENCE, None)


def test_a_drive_is_held_to_its_rating() -> None:
    alone = drive("sda")
    rating = MemberRate(read_bytes_per_second=5e8, write_bytes_per_second=None, source=Source.RATED)
    grounds = Grounds(rated={"sda": rating})
    verdict = assess_device(host([], [alone]), alone, measured("sda", 2e8), {}, grounds)
    assert (verdict.pace, verdict.cause) == (Pace.SHORT, Cause.SLOWER_THAN_PEERS)
    assert verdict.ratio == pytest.approx(0.4)


def test_a_link_trained_low_is_the_reason_a_drive_is_slow() -> None:
    port = link("ata1", LinkKind.SATA, 1.5, 6.0)
    slow = drive("sda", link_ids=("ata1",))
    peers = {"sda": 5e8, "sdb": 5e8, "sdc": 5e8}
    drives = [slow, drive("sdb"), drive("sdc")]
    machine = host([], drives, [port])
    verdict = assess_device(machine, slow, measured("sda", 1.2e8), peers, Grounds())
    assert verdict.low_links == (port,)
    assert verdict.expectation is not None
    assert verdict.expectation.ceiling_bytes_per_second == pytest.approx(1.5e8)


@pytest.mark.parametrize(("slot_maximum", "low"), [(8.0, False), (16.0, True)])
def test_a_pcie_drive_below_its_own_maximum_is_low_only_if_the_slot_can_do_better(
    slot_maximum: float, low: bool
) -> None:
    slot = link("port", LinkKind.PCIE, 8.0, slot_maximum)
    end = link("nvme", LinkKind.PCIE, 8.0, 16.0, parent="port")
    fast = drive("nvme0n1", link_ids=("nvme", "port"))
    verdict = assess_device(
        host([], [fast], [end, slot]), fast, measured("nvme0n1", 5e8), {}, Grounds()
    )
    assert (end in verdict.low_links) is low
