"""What both dashboards share: variables, data source, annotations, and the text they become."""

from __future__ import annotations

import json

from grafana_foundation_sdk.builders import dashboard as build
from grafana_foundation_sdk.cog.encoder import JSONEncoder
from grafana_foundation_sdk.models import dashboard as model

from fleet.grafana.look import VERMILLION

SOURCE = model.DataSourceRef(type_val="prometheus", uid="${datasource}")
HERE = 'job=~"$job", instance=~"$instance"'
"""What every query of ours is held to."""


def board(uid: str, title: str, description: str, *, many: bool) -> build.Dashboard:
    """An empty one. ``many`` lets several machines be chosen."""
    return (
        build.Dashboard(title)
        .uid(uid)
        .description(description)
        .tags(["arraygauge"])
        .timezone("browser")
        .time("now-24h", "now")
        .refresh("1m")
        .readonly()
        .tooltip(model.DashboardCursorSync.CROSSHAIR)
        .with_variable(
            build.DatasourceVariable("datasource").label("Data source").type("prometheus")
        )
        .with_variable(_choice("job", "Job", "label_values(arraygauge_build_info, job)", many=True))
        .with_variable(
            _choice(
                "instance",
                "Machine",
                'label_values(arraygauge_build_info{job=~"$job"}, instance)',
                many=many,
            )
        )
    )


def array_choice() -> build.QueryVariable:
    """Arrays of the chosen machine by their present names."""
    return _choice("array", "Array", f"label_values(arraygauge_array_info{{{HERE}}}, name)")


def _choice(name: str, label: str, query: str, *, many: bool = True) -> build.QueryVariable:
    """The first value is taken until somebody chooses; ``many`` begins with all of them."""
    variable = (
        build.QueryVariable(name)
        .label(label)
        .datasource(SOURCE)
        .query({"query": query, "refId": f"variable-{name}"})
        .refresh(model.VariableRefresh.ON_TIME_RANGE_CHANGED)
        .sort(model.VariableSort.ALPHABETICAL_ASC)
        .multi(many)
        .include_all(many)
    )
    if many:
        variable = variable.all_value(".+").current(
            model.VariableOption(selected=True, text="All", value="$__all")
        )
    return variable


def firing(name: str, roles: str) -> build.AnnotationQuery:
    """Firing alerts of the chosen machines, as marks on every graph over time."""
    return (
        build.AnnotationQuery()
        .name(name)
        .datasource(SOURCE)
        .enable(True)
        .hide(False)
        .icon_color(VERMILLION)
        .expr(f'ALERTS{{alertname=~"Arraygauge.+", alertstate="firing", role=~"{roles}", {HERE}}}')
    )


def text_of(dashboard: build.Dashboard) -> str:
    """The JSON that Grafana imports; ids are Grafana's to give."""
    built = dashboard.build()
    document = json.loads(json.dumps(built, cls=JSONEncoder, sort_keys=True))
    document["id"] = None
    for annotation in document["annotations"]["list"]:
        annotation["titleFormat"] = "{{alertname}}"
        annotation["textFormat"] = "{{name}} {{matter}}"
    return json.dumps(document, indent=2, sort_keys=True) + "\n"
