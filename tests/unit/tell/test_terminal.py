"""What a terminal of 80 columns shows."""

from __future__ import annotations

import io

from rich.console import Console

from arraygauge.inventory.values import Level
from arraygauge.judge import Grounds, Status, assess_array, assess_device
from arraygauge.tell.derivation import print_derivation
from arraygauge.tell.terminal import print_status
from arraygauge.tell.tree import print_host
from arraygauge.theory import BARE, Direction, MemberRate, Source, Workload, derive, model_array
from invented import array, drive, host, measured, member

NAMES = ("vdb", "vdc", "vdd", "vde")
STRIPE = array(Level.RAID0, (member(name, slot) for slot, name in enumerate(NAMES)))


def console() -> tuple[Console, io.StringIO]:
    text = io.StringIO()
    return Console(file=text, width=80, highlight=False), text


def test_a_slow_member_is_seen_at_a_glance() -> None:
    machine = host([STRIPE])
    attempts = {name: measured(name, 5e6 if name == "vdd" else 20e6) for name in NAMES}
    attempts["md0"] = measured("md0", 20e6)
    status = Status(
        host=machine,
        arrays=(assess_array(machine, STRIPE, attempts, Grounds()),),
        devices=tuple(
            assess_device(machine, drive(n), attempts[n], dict.fromkeys(NAMES, 20e6), Grounds())
            for n in NAMES
        ),
        seconds=1.0,
    )
    out, text = console()
    print_status(out, status)
    shown = text.getvalue()
    assert "short of it" in shown.splitlines()[0]
    assert "vdd 5.0 MB/s (odd)" in shown
    assert "80.0 MB/s" in shown
    assert "any failure loses the array" in shown
    assert max(map(len, shown.splitlines())) <= 80


def test_no_arrays_is_a_normal_case() -> None:
    out, text = console()
    print_status(out, Status(host=host(), arrays=(), devices=(), seconds=0.0))
    assert "No md arrays on this machine" in text.getvalue()


def test_names_from_the_kernel_are_never_taken_for_markup() -> None:
    odd = drive("sda", model="[red]Invented[/red] [bold")
    out, text = console()
    print_host(out, host([], [odd]))
    assert "[red]Invented[/red] [bold" in text.getvalue()


def test_a_derivation_marks_the_bottleneck_and_says_what_would_raise_it() -> None:
    rate = MemberRate(read_bytes_per_second=20e6, write_bytes_per_second=None, source=Source.RATED)
    workload = Workload(direction=Direction.READ, queue_depth=16)
    rates = dict.fromkeys(NAMES, rate)
    model = model_array(host([STRIPE]), STRIPE, rates, BARE, Direction.READ)
    assert model is not None
    out, text = console()
    print_derivation(out, STRIPE, workload, derive(model, workload))
    shown = text.getvalue()
    assert "expected  80.0 MB/s" in shown
    assert "100% bottleneck" in shown
    assert "one member more: 100 MB/s, +25%" in shown
    assert max(map(len, shown.splitlines())) <= 80


def test_an_unknown_write_rate_says_what_to_declare() -> None:
    out, text = console()
    print_derivation(out, STRIPE, Workload(direction=Direction.WRITE), None)
    assert "write_mb_per_second" in text.getvalue()
