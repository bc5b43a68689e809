"""The words and figures of a plan."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from arraygauge.inventory.values import Level
from arraygauge.tell.derivation import workload_phrase
from arraygauge.theory import Access, Direction, Expectation, Resource, ResourceKind, Survivable
from arraygauge.theory.geometry import PARITY_LEVELS
from arraygauge.theory.plan import Asked, Plan, PlannedDrive, PlannedOption, Prediction, Supply
from arraygauge.theory.plan_values import LEAST_GAIN_SHARE
from arraygauge.units import format_capacity, format_duration, format_rate


def drive_lines(supply: Supply, known_by: Mapping[str, str]) -> Iterator[str]:
    """Drives that are alike in all that is shown, together."""
    groups: dict[tuple[str, ...], list[str]] = {}
    for drive in supply.drives:
        groups.setdefault(_drive_facts(drive, known_by), []).append(drive.name)
    for facts, names in groups.items():
        yield f"{_names(names)}: {', '.join(facts)}"


def _names(names: list[str]) -> str:
    if len(names) < 4:
        return ", ".join(names)
    return f"{names[0]} … {names[-1]} ({len(names)})"


def _drive_facts(drive: PlannedDrive, known_by: Mapping[str, str]) -> tuple[str, ...]:
    rate, write = drive.rate, drive.rate.write_bytes_per_second
    reads = f"reads {format_rate(rate.read_bytes_per_second)}"
    writes = "writes taken to be as its reads"
    if write is not None:
        writes = f"writes {format_rate(write)} ({drive.write_source})"
    facts = [
        format_capacity(drive.size_bytes),
        f"{reads} ({known_by.get(drive.name, rate.source)})",
        writes,
    ]
    if rate.operation_seconds:
        facts.append(f"{format_duration(rate.operation_seconds)} a move ({drive.timing_source})")
    if rate.latency_seconds:
        words = f"{format_duration(rate.latency_seconds)} a transfer"
        facts.append(f"{words} ({drive.timing_source})")
    return tuple(facts)


def link_lines(supply: Supply) -> Iterator[str]:
    """The links that several drives share, and the parity arithmetic."""
    for link in supply.links:
        if len(link.members) > 1:
            yield f"{link.name}: {_capacity(link)} ({link.source}), shared by {len(link.members)}"
    if supply.parity_bytes_per_second is None:
        yield "parity arithmetic: rate not given, taken not to bind"
    else:
        rate = format_rate(supply.parity_bytes_per_second)
        yield f"parity arithmetic: {rate} of data ({supply.parity_source}), for raid6 half of it"


def _capacity(link: Resource) -> str:
    read, write = link.read_bytes_per_second, link.write_bytes_per_second
    both = "both ways at once" if link.full_duplex else "one way at a time"
    if abs(read - write) < 0.005 * read:
        return f"{format_rate(read)} {both}"
    return f"reads {format_rate(read)}, writes {format_rate(write)}, {both}"


def band(expectation: Expectation) -> str:
    """MB/s; from the floor to the ceiling where they differ."""
    floor, ceiling = expectation.floor_bytes_per_second, expectation.ceiling_bytes_per_second
    if floor >= 0.995 * ceiling:
        return _megabytes(ceiling)
    return f"{_megabytes(floor)}–{_megabytes(ceiling)}"


def _megabytes(rate: float) -> str:
    return format_rate(rate).removesuffix(" MB/s")


def failures(survives: Survivable) -> str:
    """For certain, and with luck."""
    if survives.at_best > survives.guaranteed:
        return f"{survives.guaranteed}–{survives.at_best}"
    return str(survives.guaranteed)


def limit_phrase(prediction: Prediction) -> str:
    """What sets the pace of reading, and of writing where that is something else."""
    read, write = _limit(prediction.read), _limit(prediction.write)
    return read if read == write else f"{read}/{write}"


def _limit(expectation: Expectation) -> str:
    if expectation.depth_bound:
        return "depth"
    resource = expectation.bottleneck
    if resource.kind is ResourceKind.MEMBER:
        return "drives"
    return "parity" if resource.kind is ResourceKind.PARITY else resource.name


def gain_phrase(planned: PlannedOption) -> str:
    """What the last drive brought in reading and writing; '†' where another brings nothing."""
    mark = "†" if planned.one_more is not None and planned.one_more.nothing else ""
    gain = planned.gain
    if gain is None:
        return f"–{mark}"
    if gain.nothing:
        return f"no speed{mark}"
    read, write = change_phrase(gain.read), change_phrase(gain.write)
    if read == write:
        return f"{read}{mark}"
    return f"{read.removesuffix(' %')}/{write}{mark}"


def notes_on(plan: Plan, shown: Sequence[PlannedOption]) -> Iterator[str]:
    """What the signs and bands of a table mean, as far as they are in it."""
    first = plan.best[0].option
    spare = len(plan.supply.drives) - first.width
    left = f"; it leaves {spare} of the drives for spares or a second array" if spare else ""
    yield f"▸ the most balanced that survives enough{left}"
    if any(each.one_more is not None and each.one_more.nothing for each in shown):
        yield "† the next drive would bring no speed and no safety, at most room"
    streaming = plan.asked.write.access is Access.SEQUENTIAL
    if streaming and any(_is_wide(each) for each in shown):
        yield (
            "write from: every transfer stands alone; to: neighbours meet and fill whole rows, as "
            "long files mostly do"
        )
    if any("depth" in limit_phrase(each.prediction) for each in shown):
        yield "depth: too few transfers in flight to keep anything busy (--depth, --streams)"
    yield (
        "survives: for certain, and with luck; last drive: what it brought over one fewer; "
        "rebuild: nobody else at work"
    )


def _is_wide(planned: PlannedOption) -> bool:
    written = planned.prediction.write
    wide = written.floor_bytes_per_second < 0.5 * written.ceiling_bytes_per_second
    return wide and planned.option.level in PARITY_LEVELS


def asked_phrase(asked: Asked) -> str:
    """The work, said once where reading and writing are alike."""
    if replace(asked.read, direction=Direction.WRITE) != asked.write:
        return f"{workload_phrase(asked.read)}; {workload_phrase(asked.write)}"
    return workload_phrase(asked.read).replace(" read of", " read and write of", 1)


def rough_duration(seconds: float) -> str:
    """In one unit: '22 h', '3.1 d'."""
    for unit, factor in (("d", 86400), ("h", 3600), ("min", 60)):
        if seconds >= 2 * factor:
            return f"{seconds / factor:.{0 if seconds >= 10 * factor else 1}f} {unit}"
    return f"{seconds:.0f} s"


def change_phrase(share: float) -> str:
    return "±0 %" if abs(share) < LEAST_GAIN_SHARE else f"{100 * share:+.0f} %"


def enough_phrase(plan: Plan) -> Iterator[str]:
    """From how many drives on another reads no faster, by level, where that is seen."""
    enough = []
    for family, curve in _curves(plan).items():
        most = max(curve.values())
        first = min(width for width, rate in curve.items() if rate >= most / (1 + LEAST_GAIN_SHARE))
        if first < max(curve):
            enough.append((first, family))
    if enough:
        told = ", ".join(f"{family} with {first}" for first, family in sorted(enough))
        yield f"No reading speed from more drives: {told}. More bring room only."


def _curves(plan: Plan) -> dict[str, dict[int, float]]:
    curves: dict[str, dict[int, float]] = {}
    for planned in plan.options:
        if planned.option.level is Level.RAID1:
            continue  # more mirrors are for safety
        rate = planned.prediction.read.ceiling_bytes_per_second
        curve = curves.setdefault(planned.option.name, {})
        curve[planned.option.width] = max(rate, curve.get(planned.option.width, 0.0))
    return curves
