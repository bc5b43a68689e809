"""Open incidents as samples: how many, and the worst of them one by one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from arraygauge.judge.findings import Severity
from arraygauge.judge.incidents import Incident
from arraygauge.tell.incident_words import SEVERITY_WORDS
from arraygauge.tell.metrics.values import Sample

MOST_INCIDENTS = 20
MOST_ARRAYS = 8
"""Of one incident: what a person does about the cause does not depend on the ninth."""


def incident_samples(incidents: Sequence[Incident], arrays: Mapping[str, str]) -> Iterator[Sample]:
    """``incidents`` the worst first; ``arrays`` are stable ids by name."""
    counted = Counter(incident.finding.severity for incident in incidents)
    for severity, word in SEVERITY_WORDS.items():
        yield Sample(name="incidents_open", labels=(word,), number=counted[severity])
    for incident in incidents[:MOST_INCIDENTS]:
        finding = incident.finding
        for name in finding.arrays[:MOST_ARRAYS] or ("",):
            yield Sample(
                name="incident",
                labels=(
                    finding.cause.stable_id,
                    arrays.get(name, name),
                    str(incident.number),
                    finding.cause.name,
                    finding.matter,
                    SEVERITY_WORDS[Severity(finding.severity)],
                ),
            )
