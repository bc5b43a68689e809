"""Recording rules: what an overview of many machines asks for again and again."""

from __future__ import annotations

from fleet.alerts_of_arrays import TARGET
from fleet.rules import Recording

_PLAIN = '{instance="edit1:9847", job="arraygauge"}'

RECORDINGS = (
    Recording(
        name="instance:arraygauge_array_read_ratio:min",
        query="min by (job, instance) (arraygauge_array_read_ratio)",
        series={
            f'arraygauge_array_read_ratio{{{TARGET}, array="md-a"}}': "0.5x5",
            f'arraygauge_array_read_ratio{{{TARGET}, array="md-b"}}': "0.9x5",
        },
        labels=_PLAIN,
        value=0.5,
    ),
    Recording(
        name="instance:arraygauge_device_read_ratio:min",
        query="min by (job, instance) (arraygauge_device_read_ratio)",
        series={
            f'arraygauge_device_read_ratio{{{TARGET}, device="a"}}': "1x5",
            f'arraygauge_device_read_ratio{{{TARGET}, device="b"}}': "0.4x5",
        },
        labels=_PLAIN,
        value=0.4,
    ),
    Recording(
        name="instance:arraygauge_array_members_missing:sum",
        query="sum by (job, instance)"
        " (arraygauge_array_members_wanted - arraygauge_array_members_working)",
        series={
            f'arraygauge_array_members_wanted{{{TARGET}, array="md-a"}}': "4x5",
            f'arraygauge_array_members_working{{{TARGET}, array="md-a"}}': "2x5",
        },
        labels=_PLAIN,
        value=2,
    ),
    Recording(
        name="instance:arraygauge_incidents_open:sum",
        query="sum by (job, instance) (arraygauge_incidents_open)",
        series={
            f'arraygauge_incidents_open{{{TARGET}, severity="major"}}': "2x5",
            f'arraygauge_incidents_open{{{TARGET}, severity="minor"}}': "1x5",
        },
        labels=_PLAIN,
        value=3,
    ),
    Recording(
        name="job_severity:arraygauge_incidents_open:sum",
        query="sum by (job, severity) (arraygauge_incidents_open)",
        series={
            f'arraygauge_incidents_open{{{TARGET}, severity="major"}}': "2x5",
            'arraygauge_incidents_open{job="arraygauge", instance="b", severity="major"}': "1x5",
        },
        labels='{job="arraygauge", severity="major"}',
        value=3,
    ),
)
NAMES = frozenset(each.name for each in RECORDINGS)
