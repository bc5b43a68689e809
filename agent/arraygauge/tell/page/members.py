"""The members of an array side by side: as a picture on one scale, and in a table."""

from __future__ import annotations

from collections.abc import Mapping

from markupsafe import Markup

from arraygauge.inventory.values import Array, Member
from arraygauge.judge import ArrayVerdict
from arraygauge.tell.charts.bars import member_bars
from arraygauge.tell.charts.values import Bar, MemberBars
from arraygauge.tell.page.inputs import MOST_MEMBERS, Known
from arraygauge.tell.page.pictures import drawn
from arraygauge.tell.page.values import MemberRow, Members
from arraygauge.units import format_rate


def members_of(known: Known, array: Array) -> Members:
    """The odd ones first where not all can be shown."""
    verdict = known.verdict(array)
    odd = odd_notes(verdict)
    shown = array.members
    if len(shown) > MOST_MEMBERS:
        shown = tuple(sorted(shown, key=lambda each: (each.name not in odd, each.serving)))
        shown = shown[:MOST_MEMBERS]
    seen = _seen(known, array)
    return Members(
        picture=_picture(known, array, shown, odd),
        rows=tuple(_row(known, each, odd, seen.get(each.name, "")) for each in shown),
        left_out=len(array.members) - len(shown),
    )


def odd_notes(verdict: ArrayVerdict | None) -> dict[str, str]:
    """What is odd of whom."""
    found = verdict.odd_members if verdict is not None else ()
    return {
        each.name: f"{each.bytes_per_second / each.peers_bytes_per_second:.0%} of what is expected"
        for each in found
    }


def state_words(member: Member) -> str:
    """The kernel's word, or what it does not say."""
    if not member.present:
        return "gone"
    return (member.state_text or "unknown").replace("_", " ")


def _picture(
    known: Known, array: Array, shown: tuple[Member, ...], odd: Mapping[str, str]
) -> Markup:
    bars = tuple(
        Bar(
            name=each.name,
            bytes_per_second=known.member_rate(each.name),
            odd=each.name in odd,
            note=odd.get(each.name, "" if each.serving else state_words(each)),
        )
        for each in shown
    )
    said = "; ".join(f"{name} is odd: {note}" for name, note in odd.items())
    svg = member_bars(
        MemberBars(
            title=f"Members of {array.name}",
            description=said or "No member stands out.",
            bars=bars,
            expected_bytes_per_second=_expected(known, array),
        )
    )
    return drawn(svg)


def _expected(known: Known, array: Array) -> float | None:
    """What is expected of a member, where it is the same of all that were held to something."""
    devices = known.devices()
    found = {
        expectation.ceiling_bytes_per_second
        for each in array.members
        if (verdict := devices.get(each.name)) is not None
        and verdict.ratio is not None
        and (expectation := verdict.expectation) is not None
    }
    return found.pop() if len(found) == 1 else None


def _row(known: Known, member: Member, odd: Mapping[str, str], seen: str) -> MemberRow:
    rate = known.member_rate(member.name)
    device = known.host.device(member.name) if known.host is not None else None
    disk = known.host.device(device.disk) if known.host and device and device.disk else device
    return MemberRow(
        name=member.name,
        state=state_words(member),
        rate=format_rate(rate) if rate else "not measured",
        odd=member.name in odd,
        seen=odd.get(member.name) or seen,
        model=(disk.model if disk else None) or "",
        serial=(disk.serial if disk else None) or "",
    )


def _seen(known: Known, array: Array) -> dict[str, str]:
    """What the passive watch sees of each."""
    for document in known.seen:
        if document.get("array") == array.name:
            members = document.get("members")
            found = members if isinstance(members, list) else []
            return {str(each["name"]): str(each["seen"]) for each in found}
    return {}
