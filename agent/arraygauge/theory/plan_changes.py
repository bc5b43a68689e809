"""What if: the same drives on another bus, faster drives, one more port, one more drive."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from arraygauge.theory.plan_predict import predict
from arraygauge.theory.plan_values import Asked, Option, PlannedDrive, Prediction, Supply
from arraygauge.theory.values import Resource, Source
from arraygauge.values import frozen

TWICE = 2.0


@frozen
class WhatIf:
    """One change, in words, and what the option would give after it."""

    change: str
    prediction: Prediction


def what_ifs(supply: Supply, option: Option, asked: Asked) -> tuple[WhatIf, ...]:
    """Each link that several of the members share twice as fast, and a second one beside it; all
    of those together; faster drives; one drive more."""
    return tuple(
        WhatIf(change=words, prediction=predict(changed, other, asked))
        for words, changed, other in _changes(supply, option)
    )


def _changes(supply: Supply, option: Option) -> Iterator[tuple[str, Supply, Option]]:
    members = set(option.members)
    shared = [link for link in supply.links if len(members.intersection(link.members)) > 1]
    for link in shared:
        yield f"{link.name} twice as fast", with_link(supply, link.name, TWICE), option
        yield f"one more {link.name}", with_one_more_port(supply, link.name, option), option
    if len(shared) > 1:
        together = supply
        for link in shared:
            together = with_link(together, link.name, TWICE)
        yield "all shared links twice as fast", together, option
    yield "drives twice as fast", with_faster_drives(supply, TWICE), option
    wider, name = with_one_more_drive(supply, option)
    yield "one drive more", wider, replace(option, members=(*option.members, name))


def with_link(supply: Supply, name: str, factor: float) -> Supply:
    """A link so many times as fast both ways. KeyError for none of that name."""
    _link(supply, name)
    return replace(
        supply,
        links=tuple(_faster(link, factor) if link.name == name else link for link in supply.links),
    )


def with_link_rate(supply: Supply, name: str, bytes_per_second: float) -> Supply:
    """A link of so many bytes a second each way. KeyError for none of that name."""
    changed = replace(
        _link(supply, name),
        read_bytes_per_second=bytes_per_second,
        write_bytes_per_second=bytes_per_second,
        source=Source.ASSUMED,
    )
    return replace(
        supply, links=tuple(changed if link.name == name else link for link in supply.links)
    )


def with_one_more_port(supply: Supply, name: str, option: Option | None = None) -> Supply:
    """Every other drive behind a link goes to a second one like it; of an option's members, and
    of those that are left. KeyError for no link of that name."""
    link = _link(supply, name)
    first = option.members if option is not None else ()
    ordered = [each for each in first if each in link.members]
    ordered += [each for each in link.members if each not in ordered]
    halves = (
        replace(link, members=tuple(ordered[::2])),
        replace(link, name=f"second {name}", members=tuple(ordered[1::2])),
    )
    links = [part for each in supply.links for part in (halves if each.name == name else (each,))]
    return replace(supply, links=tuple(link for link in links if link.members))


def with_faster_drives(supply: Supply, factor: float) -> Supply:
    """All drives so many times as fast; what an operation takes them stays."""
    return replace(supply, drives=tuple(_faster_drive(drive, factor) for drive in supply.drives))


def with_one_more_drive(supply: Supply, option: Option) -> tuple[Supply, str]:
    """One more drive, and its name: like the member that has most left of the links it shares,
    behind the same of them."""
    like = max(
        (supply.drive(name) for name in option.members),
        key=lambda drive: _share_of_next(supply, option, drive),
    )
    newcomer = replace(like, name=_new_name(supply))
    links = tuple(
        replace(link, members=(*link.members, newcomer.name))
        if like.name in link.members and len(link.members) > 1
        else link
        for link in supply.links
    )
    return replace(supply, drives=(*supply.drives, newcomer), links=links), newcomer.name


def _share_of_next(supply: Supply, option: Option, drive: PlannedDrive) -> float:
    """Bytes per second that another member beside this one would read, in its part of each link."""
    parts = [
        link.read_bytes_per_second / (1 + len(set(option.members).intersection(link.members)))
        for link in supply.links
        if drive.name in link.members and len(link.members) > 1
    ]
    return min([drive.rate.read_bytes_per_second, *parts])


def _new_name(supply: Supply) -> str:
    taken = {drive.name for drive in supply.drives}
    return next(
        name
        for number in range(len(taken) + 1)
        if (name := f"one more{f' {number}' if number else ''}") not in taken
    )


def _link(supply: Supply, name: str) -> Resource:
    for link in supply.links:
        if link.name == name:
            return link
    raise KeyError(name)


def _faster(link: Resource, factor: float) -> Resource:
    return replace(
        link,
        read_bytes_per_second=factor * link.read_bytes_per_second,
        write_bytes_per_second=factor * link.write_bytes_per_second,
    )


def _faster_drive(drive: PlannedDrive, factor: float) -> PlannedDrive:
    write = drive.rate.write_bytes_per_second
    rate = replace(
        drive.rate,
        read_bytes_per_second=factor * drive.rate.read_bytes_per_second,
        write_bytes_per_second=None if write is None else factor * write,
    )
    return replace(drive, rate=rate)
