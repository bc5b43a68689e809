"""`dashboards/METRICS.md`: the table of metrics, for people."""

from __future__ import annotations

from collections.abc import Iterator

from arraygauge.tell.metrics import TABLE, MetricSpec

_HEAD = """# Metrics

Made from the table in `agent/arraygauge/tell/metrics/table.py`; do not edit.

These names are an interface: one that is here keeps its meaning, and one that goes is announced in
`CHANGELOG.md` a version before. What is unknown is absent, never 0 or -1. `array` and `device` are
ids that stay over a restart and a change of cables; the kernel's present name, which does not, is
in `arraygauge_array_info` and `arraygauge_device_info`. `link` is the kernel's short name of a
link, or its path in sysfs where two have the same short name. An info metric is 1, and its facts
are labels; of a state only the present word is a series.

To have an array's name beside a figure:

```
arraygauge_array_read_ratio
  * on (job, instance, array) group_left (name) arraygauge_array_info
```

| series | type | unit | labels | what it says |
| --- | --- | --- | --- | --- |
"""


def document() -> str:
    return _HEAD + "".join(f"{row}\n" for row in _rows())


def _rows() -> Iterator[str]:
    for spec in sorted(TABLE, key=lambda each: each.series_name):
        yield f"| {' | '.join(_cells(spec))} |"


def _cells(spec: MetricSpec) -> tuple[str, ...]:
    labels = ", ".join(f"`{label}`" for label in spec.all_labels) or "–"
    return f"`{spec.series_name}`", spec.kind, spec.unit or "–", labels, spec.help
