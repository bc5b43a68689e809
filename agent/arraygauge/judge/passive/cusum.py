"""A one-sided cumulative sum of evidence, and how long it runs without a cause.

NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3 (the tabular form); the average run
length is Siegmund's approximation as printed in Montgomery, Introduction to Statistical
Quality Control, chapter 9 (from memory).
"""

from __future__ import annotations

from math import exp, log

from arraygauge.values import frozen

REFERENCE = log(2) / 2
"""The allowance k on log ratios: half way between peers alike and one that takes twice as long."""
CLIP = log(2.2)
"""No single look counts for more: one hiccup, however long, is not persistence."""
SUSPECT_AT = 3.5
"""A member at twice its peers' time gains 0.35 a look: 10 looks, 20 s of load."""
ALARM_AT = 20.0
"""58 looks at twice the time, two minutes of load; four at 1.6 times."""
HIGHEST = 24.0
"""Bounds how long a member that is well again stays accused: 70 looks."""
SUSPICION_ONLY = 19.0
"""The highest total where a look may not raise an alarm by itself."""


@frozen
class Evidence:
    """``total`` of clipped log ratios less the allowance; ``since_seconds`` is when it left 0,
    ``mean`` the recent log ratios' own."""

    total: float = 0.0
    since_seconds: float = 0.0
    mean: float = 0.0

    def with_look(
        self,
        log_ratio: float,
        moment: float,
        *,
        reference: float = REFERENCE,
        highest: float = HIGHEST,
    ) -> Evidence:
        """The evidence after one more look, which cannot take it past ``highest``."""
        clipped = max(-CLIP, min(CLIP, log_ratio - reference + REFERENCE))
        most = max(self.total, highest)
        total = min(most, max(0.0, self.total + clipped - REFERENCE))
        if not total:
            return NONE
        if not self.total:
            return Evidence(total=total, since_seconds=moment, mean=log_ratio)
        bounded = max(-3.0, min(3.0, log_ratio))
        mean = self.mean + (bounded - self.mean) / 8
        return Evidence(total=total, since_seconds=self.since_seconds, mean=mean)

    @property
    def suspicious(self) -> bool:
        return self.total >= SUSPECT_AT

    @property
    def ratio(self) -> float:
        """Times as long as the peers, over the last looks."""
        return exp(self.mean)


NONE = Evidence()


def average_run_length(mean: float, deviation: float, threshold: float) -> float:
    """Looks until ``threshold`` is passed by chance, for independent normal log ratios of that
    mean (under the allowance) and standard deviation."""
    drift = (mean - REFERENCE) / deviation
    height = threshold / deviation + 1.166
    if not drift:
        return height**2
    return (exp(-2 * drift * height) + 2 * drift * height - 1) / (2 * drift**2)
