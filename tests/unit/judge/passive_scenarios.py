"""Seeded stories of invented arrays, told to the passive watch reading by reading."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from random import Random

from arraygauge.judge.passive import (
    Certainty,
    PassiveWatch,
    Peers,
    Seen,
    SharedPath,
    SlowMember,
    Stall,
    watch_array,
)
from unit.judge.passive_machine import (
    KIB,
    Drive,
    Link,
    Load,
    Machine,
    flash,
    held,
    hot,
    mirrored,
    moments,
    name_of,
    scattered,
    streaming,
    turning,
)

HEALTHY_SECONDS = 60.0
WIDTH = 6


def drives_of(medium: str, number: int = WIDTH) -> list[Drive]:
    made: dict[str, Callable[[int], list[Drive]]] = {
        "turning": turning,
        "flash": flash,
        "flash, busy time in ticks": lambda wanted: flash(wanted, ticks=250),
        "held to a rate": held,
    }
    return made[medium](number)


MEDIA = ("turning", "flash", "flash, busy time in ticks", "held to a rate")


def even_loads(random: Random, medium: str) -> tuple[Load, ...]:
    """A load that keeps a stripe busy: an edit, an export, or many small files. Drives held to
    a rate are given streams."""
    streams = Load(random.randint(2, 6), streaming(random.choice([128, 256, 512]) * KIB))
    export = Load(random.randint(1, 3), streaming(512 * KIB, write=True))
    small = Load(random.randint(12, 32), scattered((16 * KIB, 64 * KIB, 256 * KIB), 0.3))
    if medium == "held to a rate":
        return random.choice([(streams,), (export,)])
    return random.choice([(streams,), (export,), (small,), (streams, export)])


def peers(number: int = WIDTH, **changes: object) -> Peers:
    names = tuple(name_of(slot) for slot in range(number))
    given: dict[str, object] = {"members": names, "even": True, "heads": False}
    return Peers(**{**given, **changes})  # type: ignore[arg-type]


def told(
    machine: Machine, watch: PassiveWatch, start: float, end: float
) -> Iterator[tuple[float, PassiveWatch]]:
    """The watch after each reading, every two seconds."""
    for moment in moments(start, end):
        machine.run(moment)
        watch = watch.with_readings(moment, machine.readings())
        yield moment, watch


def begun(machine: Machine, group: Peers) -> PassiveWatch:
    return watch_array((group,)).with_readings(machine.now, machine.readings())


def accusations(seen: tuple[Seen, ...]) -> list[SlowMember | SharedPath]:
    return [one for one in seen if isinstance(one, SlowMember | SharedPath)]


@dataclass(frozen=True)
class Throttled:
    """Seconds from the throttling to suspicion and alarm; ``wrong`` are other accusations."""

    suspected: float | None
    alarmed: float | None
    wrong: tuple[SlowMember | SharedPath, ...]


def throttled(seed: int, *, under_load: float = 300.0) -> Throttled:
    """One of six members held to half of its speed after a minute of health."""
    random = Random(seed)
    medium = MEDIA[seed % len(MEDIA)]
    machine = Machine(drives_of(medium), seed)
    machine.bear(*even_loads(random, medium))
    odd = random.randrange(WIDTH)
    suspected = None
    wrong: list[SlowMember | SharedPath] = []
    start = begun(machine, peers(heads=medium == "turning"))
    for moment, watch in told(machine, start, 0.0, HEALTHY_SECONDS + under_load):
        for one in accusations(watch.seen):
            if moment <= HEALTHY_SECONDS or not _names(one, odd):
                wrong.append(one)
                continue
            suspected = suspected or moment - HEALTHY_SECONDS
            if one.certainty is Certainty.ALARMED:
                return Throttled(suspected, moment - HEALTHY_SECONDS, tuple(wrong))
        if moment == HEALTHY_SECONDS:
            halve(machine.drives[odd])
    return Throttled(suspected, None, tuple(wrong))


def halve(drive: Drive) -> None:
    if drive.limit is None:
        drive.factor = 2.0
    else:
        drive.limit /= 2


def _names(one: SlowMember | SharedPath, slot: int) -> bool:
    return isinstance(one, SlowMember) and one.name == name_of(slot)


@dataclass(frozen=True)
class Slowed:
    """What was blamed in five minutes of a path at a fraction of its rate."""

    behind: tuple[str, ...]
    paths: frozenset[tuple[str, ...]]
    links: frozenset[str | None]
    drives: frozenset[str]
    before: int


def slowed_path(
    seed: int, *, known: bool = True, whole: bool = False, loads: tuple[Load, ...] = ()
) -> Slowed:
    """The link of two to four of six members, or of ``whole``ly all after a quarter of an hour
    under the same load, falls to a part of what was asked of it. Of members whose link is not
    known more than half are not told from the rest that would be faster: two or three, then."""
    random = Random(1000 + seed)
    medium = "flash" if whole else ("turning", "flash")[seed % 2]
    some = random.sample(range(WIDTH), random.randint(2, 4 if known else 3))
    names = tuple(name_of(slot) for slot in (range(WIDTH) if whole else sorted(some)))
    link, machine = _behind_a_link(names, medium, seed)
    group = peers(
        heads=medium == "turning",
        paths=(("expander", frozenset(names)),) if known and not whole else (),
        common="expander" if known and whole else None,
    )
    machine.bear(*(loads or even_loads(random, medium)))
    healthy = 900.0 if whole else HEALTHY_SECONDS
    before = 0
    for _, watch in told(machine, begun(machine, group), 0.0, healthy):
        before += len(accusations(watch.seen))
    link.rate = link.carried / healthy * (random.uniform(0.2, 0.4) if whole else 0.5)
    blamed: list[SlowMember | SharedPath] = []
    for _, after in told(machine, watch, healthy, healthy + 300):
        blamed += accusations(after.seen)
    return Slowed(
        behind=names,
        paths=frozenset(one.members for one in blamed if isinstance(one, SharedPath)),
        links=frozenset(one.link for one in blamed if isinstance(one, SharedPath)),
        drives=frozenset(one.name for one in blamed if isinstance(one, SlowMember)),
        before=before,
    )


def _behind_a_link(names: tuple[str, ...], medium: str, seed: int) -> tuple[Link, Machine]:
    drives = drives_of(medium)
    link = Link(rate=len(names) * drives[0].rate * 1.5)
    for slot, drive in enumerate(drives):
        drive.link = link if name_of(slot) in names else None
    return link, Machine(drives, seed)


@dataclass(frozen=True)
class Freeze:
    """Seconds from the first request that was stuck to the word hang, the stall as told once
    over, and how long that request was stuck in truth."""

    alarm: float
    stall: Stall
    truth: float


def frozen(seed: int, length: float, *, busy: bool = True) -> Freeze | None:
    """A drive that serves nothing for a while; readings at the moments the watch wants."""
    random = Random(seed)
    machine = Machine(drives_of("flash"), seed)
    machine.bear(*(even_loads(random, "flash") if busy else (Load(1, streaming(64 * KIB), 0.7),)))
    watch, drive = begun(machine, peers()), machine.drives[2]
    began = 20.0 + random.random() * 3
    stuck = alarm = None
    while machine.now < began + length + 10:
        moment = machine.now + watch.wanted_seconds
        if machine.now < began <= moment:
            machine.run(began)
            drive.frozen_until = began + length
        machine.run(moment)
        watch = watch.with_readings(moment, machine.readings())
        if began <= moment < began + length and drive.in_flight:
            stuck = max(began, drive.asked_at)
        for stall in watch.stalls:
            if stall.device != name_of(2) or not stall.hang or stuck is None:
                continue
            alarm = moment - stuck if alarm is None else alarm
            if stall.over:
                return Freeze(alarm, stall, began + length - stuck)
    return None


@dataclass(frozen=True)
class Day:
    """A day's accusations, and the share of member-looks that were judged alike or busy."""

    accusations: tuple[tuple[float, SlowMember | SharedPath], ...]
    kinds: dict[str, int]
    requests: int


def quiet_day(seed: int, kind: str, *, seconds: float = 86400.0) -> Day:
    """A healthy array through bursts, mixed sizes, idle stretches, hot spots and seeks."""
    random = Random(seed)
    medium = "turning" if "turning" in kind else "flash"
    mirrors = "mirror" in kind
    number = 2 if mirrors else WIDTH
    machine = Machine(drives_of(medium, number), seed)
    watch = begun(machine, peers(number, even=not mirrors, heads=medium == "turning"))
    found: list[tuple[float, SlowMember | SharedPath]] = []
    kinds: dict[str, int] = {}
    at = 0.0
    while at < seconds:
        end = at + 2 * random.randint(5, 300)
        machine.bear(*varied_loads(random, number, medium, mirrors=mirrors))
        for moment, after in told(machine, watch, at, end):
            watch = after
            found += [(moment, one) for one in accusations(watch.seen)]
            for one in watch.seen:
                kinds[type(one).__name__] = kinds.get(type(one).__name__, 0) + 1
        at = end
    return Day(tuple(found), kinds, machine.requests)


def varied_loads(random: Random, number: int, medium: str, *, mirrors: bool) -> tuple[Load, ...]:
    """What a workstation may ask in one stretch of its day; often nothing."""
    if random.random() < 0.5:
        return random.choice([(), (Load(1, scattered((4 * KIB,), 0.8), random.uniform(0.1, 5)),)])
    if mirrors:
        size = random.choice([128, 256, 512]) * KIB
        copies = mirrored(size, random.choice([0.0, 0.2, 0.5, 1.0]), nearest=medium == "turning")
        return (Load(random.randint(1, 16), copies, random.choice([0.0, 0.02])),)
    loads = [
        Load(random.randint(1, 8), streaming(random.choice([64, 256, 512]) * KIB), 0.02),
        Load(random.randint(1, 4), streaming(512 * KIB, write=True), random.choice([0.0, 0.2])),
        Load(random.randint(1, 48), scattered((4 * KIB, 64 * KIB, 512 * KIB), 0.3)),
        Load(random.randint(1, 8), scattered((16 * KIB,), 0.0), random.choice([0.0, 0.05])),
        Load(random.randint(1, 3), hot(random.randrange(number), 4 * KIB, write=True), 0.02),
        Load(random.randint(1, 3), hot(0, random.choice([64, 512]) * KIB)),
    ]
    return tuple(random.sample(loads, random.randint(1, 3)))
