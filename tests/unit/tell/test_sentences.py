"""What a person reads: the reason and the next step are in the sentence."""

from __future__ import annotations

from dataclasses import replace

from arraygauge.inventory.values import Level
from arraygauge.judge import ArrayVerdict, Grounds, assess_array
from arraygauge.probe.values import Attempt, Skipped, SkipReason
from arraygauge.tell.sentences import array_sentence, band_phrase, protection_phrase
from arraygauge.theory import Board, Uplink
from invented import FAILED, array, host, measured, member

NAMES = ("vdb", "vdc", "vdd", "vde")
STRIPE = array(Level.RAID0, (member(name, slot) for slot, name in enumerate(NAMES)))


def verdict(rate: float, grounds: Grounds | None = None, **members: float) -> ArrayVerdict:
    rates = dict.fromkeys(NAMES, 20e6) | members
    attempts: dict[str, Attempt] = {n: measured(n, r) for n, r in rates.items()}
    attempts["md0"] = measured("md0", rate)
    return assess_array(host([STRIPE]), STRIPE, attempts, grounds or Grounds())


def test_a_slow_member_is_named_with_both_rates_and_its_share() -> None:
    words = array_sentence(verdict(20e6, vdd=5e6))
    assert words == (
        "vdd reads 5.0 MB/s where 20.0 MB/s is expected of it and explains 100% of the shortfall."
    )


def test_a_shared_link_is_named_with_what_it_costs() -> None:
    uplink = Uplink(
        name="chipset", devices=("*",), read_bytes_per_second=60e6, write_bytes_per_second=60e6
    )
    words = array_sentence(verdict(60e6, Grounds(board=Board(uplinks=(uplink,)))))
    assert words == (
        "The shared link 'chipset' sets the pace; without it the members would give 80.0 MB/s."
    )


def test_an_unseen_limit_says_what_to_declare() -> None:
    assert "nor declared as an uplink in the configuration" in array_sentence(verdict(60e6))


def test_a_silently_broken_stripe_names_the_member_and_warns() -> None:
    members = (*STRIPE.members[:3], member("vde", 3, present=False))
    silent = replace(STRIPE, members=members)
    skip = Skipped(device="md0", reason=SkipReason.MEMBER_GONE, detail="vde is gone")
    words = array_sentence(assess_array(host([silent]), silent, {"md0": skip}, Grounds()))
    assert words.startswith("Broken: vde is gone, though the kernel still says 'clean'")
    assert "recovery professional" in words


def test_lost_redundancy_says_what_to_do_now() -> None:
    members = (member("vdb", 0), member("vdc", 1), member("vdd", **FAILED))
    degraded = array(Level.RAID5, members, raid_disks=3, degraded=1)
    skip = Skipped(device="md0", reason=SkipReason.NO_REDUNDANCY_LEFT, detail="left alone")
    health = assess_array(host([degraded]), degraded, {"md0": skip}, Grounds()).health
    assert protection_phrase(health, Level.RAID5) == (
        "none left: 2 of 3 members serve; the next failure loses data: copy what matters now; "
        "lost: vdd"
    )


def test_a_certain_band_is_one_figure_and_an_uncertain_one_two() -> None:
    band = verdict(80e6).expectation
    assert band is not None
    assert band_phrase(band) == "80.0 MB/s"
    assert band_phrase(replace(band, floor_bytes_per_second=20e6)) == "20.0 MB/s to 80.0 MB/s"
