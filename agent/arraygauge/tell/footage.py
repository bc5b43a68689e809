"""Footage in words and in JSON: what it needs, and what an array carries of it."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from arraygauge.judge.footage_values import Basis, Carried, FootageVerdict, Holding, Promise
from arraygauge.judge.footage_watch import BrokenPromise, FootageFacts
from arraygauge.theory.conditions import Condition
from arraygauge.theory.footage import MOST_STREAMS, Stream, needed_bytes_per_second
from arraygauge.units import format_rate

_HOLDING_WORDS = {
    Holding.HOLDS: ("hold", "holds"),
    Holding.PERHAPS: ("may hold", "may hold"),
    Holding.TIGHT: ("hold only without headroom", "holds only without headroom"),
    Holding.FAILS: ("do not hold", "does not hold"),
}
"""Of several streams, and of one."""


def megabits(bits_per_second: Fraction | float) -> str:
    """'737 Mb/s', '183.501 Mb/s', '1747.08 Mb/s': with the digits such rates are printed with."""
    rate = float(bits_per_second) / 1e6
    text = f"{rate:.{3 if rate < 1000 else 2}f}".rstrip("0").rstrip(".")
    return f"{text} Mb/s"


def both_rates(bits_per_second: Fraction | float) -> str:
    """'737 Mb/s (92.1 MB/s)': the trade's figure and the drives'."""
    return f"{megabits(bits_per_second)} ({format_rate(float(bits_per_second) / 8)})"


def streams_words(count: int) -> str:
    """'1 stream', '4 streams', 'no stream', '256 or more streams'."""
    if count >= MOST_STREAMS:
        return f"{MOST_STREAMS} or more streams"
    return {0: "no stream", 1: "1 stream"}.get(count, f"{count} streams")


def carried_words(carried: Carried) -> str:
    """'9 to 12 streams', 'up to 4 streams', 'no stream'."""
    least, most = carried.least_streams, carried.most_streams
    if least == most:
        return streams_words(most)
    return f"up to {streams_words(most)}" if least == 0 else f"{least} to {streams_words(most)}"


def per_cent(share: float) -> str:
    """'30 %'."""
    return f"{100 * share:g} %"


def headroom_words(promise: Promise) -> str:
    """'with 30 % left free'; empty for none."""
    return f"with {per_cent(float(promise.headroom))} left free" if promise.headroom else ""


def promise_words(verdict: FootageVerdict) -> str:
    """In one line: whether it holds now, or how many streams are carried."""
    promise, now = verdict.promise, verdict.now
    if now is None:
        return f"{_asked(promise)}: too little is known of the array to say"
    how = "measured" if now.basis is Basis.MEASURED else "predicted"
    holding = now.holding(promise)
    if holding is None:
        return f"{promise.name}: it carries {carried_words(now)} ({how})"
    words = _HOLDING_WORDS[holding][promise.streams == 1]
    return f"{_asked(promise)} {words}: it carries {carried_words(now)} ({how})"


def _asked(promise: Promise) -> str:
    if promise.streams is None:
        return promise.name
    return f"{streams_words(promise.streams)} of {promise.name}"


def elsewhere_words(verdict: FootageVerdict) -> str:
    """What it carries in the conditions it is not in, in one line; empty where none is known."""
    others = [each for each in verdict.carried if not each.now]
    parts = [f"{each.condition} {carried_words(each)}" for each in others]
    words = f"{', '.join(parts)} (predicted)" if parts else ""
    if verdict.carried and not survives(verdict):
        words = f"{words}, none once a member is lost" if words else "none once a member is lost"
    headroom = headroom_words(verdict.promise)
    return f"{words}; {headroom}" if parts and headroom else words


def survives(verdict: FootageVerdict) -> bool:
    """Whether anything is carried with a member fewer."""
    return any(each.condition is Condition.DEGRADED for each in verdict.carried)


def broken_headline(facts: FootageFacts) -> str:
    """'md0 carries 2 of the 4 streams of interview that are promised'."""
    first, *others = facts.broken
    more = f", and {len(others)} more" if others else ""
    if first.holding is Holding.TIGHT:
        return (
            f"{facts.array_name} carries the promised {streams_words(first.streams)} of "
            f"{first.footage} only without headroom{more}"
        )
    return (
        f"{facts.array_name} carries {_number(first.carried)} of the promised "
        f"{streams_words(first.streams)} of {first.footage}{more}"
    )


def broken_sentences(facts: FootageFacts) -> str:
    """What it means for whoever plays that footage."""
    return " ".join(_broken_sentence(facts.array_name, each) for each in facts.broken)


def _broken_sentence(name: str, broken: BrokenPromise) -> str:
    left_free = f" with {per_cent(broken.headroom_share)} left free"
    while_so = "" if broken.condition is Condition.HEALTHY else f", as it is {broken.condition}"
    if broken.holding is Holding.TIGHT:
        return (
            f"{name} still carries the promised {streams_words(broken.streams)} of "
            f"{broken.footage}{while_so}, but not{left_free}: {_number(broken.carried)} so."
        )
    free = left_free if broken.headroom_share else ""
    without = (
        f" ({_number(broken.bare_streams)} without)"
        if free and broken.bare_streams != broken.carried
        else ""
    )
    return (
        f"The promised {streams_words(broken.streams)} of {broken.footage} no longer hold"
        f"{'s' if broken.streams == 1 else ''}: {_number(broken.carried)} "
        f"{'is' if broken.carried == 1 else 'are'} carried{free}{without}{while_so}."
    )


def broken_reason(facts: FootageFacts) -> str:
    """The figures."""
    return " ".join(map(_figures, facts.broken))


def _figures(broken: BrokenPromise) -> str:
    headroom = f" with {per_cent(broken.headroom_share)} left free" if broken.headroom_share else ""
    return (
        f"{streams_words(broken.streams).capitalize()} of {broken.footage} "
        f"{'needs' if broken.streams == 1 else 'need'} "
        f"{both_rates(8 * broken.needed_bytes_per_second)}{headroom}, and the array "
        f"{_gives(broken)} {both_rates(8 * broken.given_bytes_per_second)}."
    )


def _gives(broken: BrokenPromise) -> str:
    return "gives" if broken.basis is Basis.MEASURED else "is expected to give at most"


def _number(count: int) -> str:
    return "none" if count == 0 else str(count)


def stream_document(stream: Stream) -> dict[str, Any]:
    """One stream for scripts: bits and bytes per second as floats, a fraction beside them."""
    frame = stream.frame_bytes
    return {
        "name": stream.name,
        "bits_per_second": float(stream.bits_per_second),
        "bits_per_second_exact": str(stream.bits_per_second),
        "bytes_per_second": float(stream.bytes_per_second),
        "frame_bytes": None if frame is None else float(frame),
        "transfer_bytes": stream.transfer_bytes,
        "image_sequence": stream.sequence,
        "target_rate": stream.target,
        "note": stream.note,
        "source": stream.source.text,
        "source_from_memory": stream.source.from_memory,
    }


def promise_document(promise: Promise) -> dict[str, Any]:
    """What is asked for, and what it needs of an array."""
    count = promise.streams or 1
    return {
        "name": promise.name,
        "stream": stream_document(promise.stream),
        "streams": promise.streams,
        "headroom": float(promise.headroom),
        "bytes_per_second": float(needed_bytes_per_second(promise.stream, count)),
        "needed_bytes_per_second": float(
            needed_bytes_per_second(promise.stream, count, promise.headroom)
        ),
    }


def footage_document(verdict: FootageVerdict) -> dict[str, Any]:
    """One promise in every condition."""
    now = verdict.now
    holding = now.holding(verdict.promise) if now is not None else None
    return {
        **promise_document(verdict.promise),
        "holding": holding,
        "carried": [
            {
                "condition": each.condition,
                "now": each.now,
                "basis": each.basis,
                "least_streams": each.least_streams,
                "most_streams": each.most_streams,
                "most_streams_without_headroom": each.bare_streams,
                "least_bytes_per_second": each.least_bytes_per_second,
                "most_bytes_per_second": each.most_bytes_per_second,
                "holding": each.holding(verdict.promise),
            }
            for each in verdict.carried
        ],
        "explanation": promise_words(verdict),
    }
