"""Names in a query, and whether the agent has them."""

from __future__ import annotations

import re
from collections.abc import Iterator

from arraygauge.tell.metrics import TABLE

SERIES = {spec.series_name: spec for spec in TABLE}
_NAME = re.compile(r"(?<![\w:])((?:[a-z_]+:)?arraygauge_[a-z_]+(?::[a-z_]+)*)")
_SELECTOR = re.compile(r"(?<![\w:])(arraygauge_[a-z_]+)\{([^}]*)\}")
_LABEL = re.compile(r"([a-z_]+)\s*(?:=~|!~|!=|=)")
OF_THE_TARGET = frozenset({"job", "instance"})
"""Labels that Prometheus adds to every series it scrapes."""


def names_in(query: str) -> set[str]:
    """Every metric of ours, recorded ones (with colons) included."""
    return set(_NAME.findall(query))


def mistakes_in(query: str, recorded: frozenset[str] = frozenset()) -> Iterator[str]:
    """Names that are neither in the table nor recorded, and labels that a metric has not."""
    for name in sorted(names_in(query)):
        if name not in SERIES and name not in recorded:
            yield f"no metric is named {name}"
    for name, selector in _SELECTOR.findall(query):
        if name in SERIES:
            known = OF_THE_TARGET | set(SERIES[name].all_labels)
            for label in _LABEL.findall(re.sub(r'"[^"]*"', "", selector)):
                if label not in known:
                    yield f"{name} has no label {label}"
