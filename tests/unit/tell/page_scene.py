"""What pages are made of in tests: an invented machine, its pass, its past, and a hostile one."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

from arraygauge.history.trend import IncidentSpan, Stretch
from arraygauge.inventory.values import Array, Host, Level
from arraygauge.judge import Grounds, Status, assess_array, assess_device, peer_references
from arraygauge.judge.findings import Severity
from arraygauge.probe.values import Attempt
from arraygauge.tell.metrics import BudgetUse
from arraygauge.tell.page.inputs import MOST_INCIDENTS, Known, Past, Spans
from invented import array, drive, host, measured, member

HOSTILE = """</title></svg><script>alert(1)</script><img src=x onerror="alert(2)">'&<b style=x>"""


def raid5(*names: str, **changes: Any) -> Array:
    return array(Level.RAID5, [member(name, slot) for slot, name in enumerate(names)], **changes)


def passed(machine: Host, rates: dict[str, float], grounds: Grounds | None = None) -> Status:
    """A pass that measured these."""
    held = grounds or Grounds()
    attempts: dict[str, Attempt] = {name: measured(name, rate) for name, rate in rates.items()}
    drives = [each for each in machine.devices if each.name in rates and not each.below]
    peers = peer_references(machine, attempts)
    return Status(
        host=machine,
        arrays=tuple(assess_array(machine, each, attempts, held) for each in machine.arrays),
        devices=tuple(
            assess_device(machine, each, attempts[each.name], peers, held) for each in drives
        ),
        seconds=1.0,
    )


def known_of(machine: Host, rates: dict[str, float], **more: Any) -> Known:
    grounds = more.pop("grounds", Grounds())
    status = passed(machine, rates, grounds)
    return Known(machine="edit1", host=machine, status=status, grounds=grounds, **more)


def span(number: int = 1, **changes: Any) -> IncidentSpan:
    plain = IncidentSpan(
        number=number,
        severity=Severity.MAJOR,
        worst=Severity.MAJOR,
        cause_id="invented-sda",
        cause_name="sda",
        arrays_json='["md0"]',
        headline="sda slows md0 down",
        opened_at_seconds=1000.0,
        closed_at_seconds=None,
        document=json.dumps({"words": {"reason": "It reads half.", "steps": ["Look."]}}),
    )
    return replace(plain, **changes)


GOOD = {"sda": 100e6, "sdb": 100e6, "sdc": 100e6, "md0": 300e6}


def past(**changes: Any) -> Past:
    stretch = Stretch(
        at_seconds=1500.0,
        measurements=3,
        least=190e6,
        mean=195e6,
        most=200e6,
        floor=200e6,
        ceiling=200e6,
    )
    plain = Past(
        period="week",
        start_seconds=1000.0,
        end_seconds=2000.0,
        stretches=(stretch,),
        coarse=(stretch,),
    )
    return replace(plain, **changes)


def hostile_known(members: int, incidents: int) -> Known:
    names = [f"sd{number}{HOSTILE}" for number in range(members)]
    drives = [drive(n, model=HOSTILE, serial=HOSTILE, stable_id=f"{n}{HOSTILE}") for n in names]
    held = array(Level.RAID6, [member(n, s) for s, n in enumerate(names)], name=f"md{HOSTILE}")
    machine = replace(host([held], drives), name=HOSTILE)
    rates = {**dict.fromkeys(names, 100e6), names[7]: 20e6, held.name: 2e9}
    shown = [
        span(
            number,
            headline=HOSTILE,
            arrays_json=json.dumps([held.name]),
            document=json.dumps({"words": {"reason": HOSTILE, "steps": [HOSTILE]}}),
        )
        for number in range(min(incidents, MOST_INCIDENTS))
    ]
    return known_of(
        machine,
        rates,
        incidents=Spans(found=shown, total=incidents),
        budget=[
            BudgetUse(device_id=each.stable_id, day_bytes=1, left_ratio=7.0) for each in drives
        ],
        notice=HOSTILE,
        troubles=(HOSTILE,),
    )
