"""The gauge of one array: a ruler of rates, the expected stretch on it, and where it is now.

The expected stretch is bracketed above the ruler, what was measured points at it from below, so
that neither is told by colour alone.
"""

from __future__ import annotations

from math import floor, log10

from markupsafe import Markup, escape

from arraygauge.units import format_rate

WIDTH, LEFT, RIGHT, LINE = 640.0, 12.0, 628.0, 44.0
"""Of the drawing, in its own units: its width, the ruler's ends and its height."""


def gauge(name: str, measured: float | None, band: tuple[float, float] | None) -> Markup:
    """``measured`` and ``band`` (floor and ceiling) in bytes per second."""
    known = [rate for rate in (measured, *(band or ())) if rate]
    if not known:
        return Markup("")
    step = _step(1.12 * max(known))
    top = step * 10
    said = escape(f"{name}: {_said(measured, band)}")
    parts = [
        f'<svg class="gauge" viewBox="0 0 {WIDTH:g} 84" role="img"><title>{said}</title>',
        f'<path class="gauge-line" d="M{LEFT:g} {LINE:g}H{RIGHT:g}"/>',
        *_ticks(step, top),
    ]
    if band is not None:
        parts.append(_bracket(_x(band[0], top), _x(band[1], top)))
    if measured:
        parts.append(_pointer(_x(measured, top), format_rate(measured)))
    return Markup("".join((*parts, "</svg>")))  # noqa: S704 -- its one text is escaped above


def _said(measured: float | None, band: tuple[float, float] | None) -> str:
    rate = f"measured {format_rate(measured)}" if measured else "not measured"
    if band is None:
        return f"{rate}, nothing expected"
    low, high = band
    wide = low < 0.995 * high
    expected = f"{format_rate(low)} to {format_rate(high)}" if wide else format_rate(high)
    return f"{rate}, expected {expected}"


def _step(highest: float) -> float:
    """A tenth of the ruler: 1, 2, 2.5 or 5 times a power of ten."""
    rough = highest / 10
    power = 10.0 ** floor(log10(rough))
    return power * next(each for each in (1, 2, 2.5, 5, 10) if each * power >= rough)


def _x(rate: float, top: float) -> float:
    return LEFT + (RIGHT - LEFT) * min(rate / top, 1.0)


def _ticks(step: float, top: float) -> list[str]:
    found = []
    for number in range(41):
        x = _x(step * number / 4, top)
        whole = number % 4 == 0
        length = 9 if number % 20 == 0 else 6 if whole else 3
        found.append(f'<path class="gauge-tick" d="M{x:.1f} {LINE:g}v{length}"/>')
        if number % 8 == 0:
            anchor = "start" if number == 0 else "end" if number == 40 else "middle"
            label = f"{step * number / 4 / 1e6:g}" + (" MB/s" if number == 0 else "")
            found.append(
                f'<text class="gauge-number" x="{x:.1f}" y="{LINE + 24:g}" '
                f'text-anchor="{anchor}">{label}</text>'
            )
    return found


def _bracket(low: float, high: float) -> str:
    """At least wide enough to be seen."""
    middle = (low + high) / 2
    half = max((high - low) / 2, 5.0)
    left, right = middle - half, middle + half
    return (
        f'<rect class="gauge-band" x="{left:.1f}" y="{LINE - 14:g}" width="{right - left:.1f}" '
        f'height="14"/><path class="gauge-bracket" d="M{left:.1f} {LINE:g}v-18H{right:.1f}v18"/>'
    )


def _pointer(x: float, words: str) -> str:
    anchor = "start" if x < 90 else "end" if x > WIDTH - 90 else "middle"
    return (
        f'<path class="gauge-pointer" d="M{x:.1f} {LINE:g}l-6 -11h12z"/>'
        f'<path class="gauge-stem" d="M{x:.1f} {LINE - 10:g}V19"/>'
        f'<text class="gauge-word" x="{x:.1f}" y="13" text-anchor="{anchor}">{words}</text>'
    )
