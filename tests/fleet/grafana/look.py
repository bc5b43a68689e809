"""Colours and panels. Okabe and Ito's colours, told apart by people with any kind of colour
vision; only those of them with enough contrast for lines on white are used. Whatever a colour
says is also said by a word or a place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from grafana_foundation_sdk.builders import bargauge, common, prometheus, stat, table, timeseries
from grafana_foundation_sdk.builders import dashboard as build
from grafana_foundation_sdk.models import common as shared
from grafana_foundation_sdk.models import dashboard as model
from grafana_foundation_sdk.models import prometheus as query_model

BLUE, VERMILLION, GREEN, PURPLE = "#0072B2", "#D55E00", "#009E73", "#CC79A7"
SAFE_COLOURS = frozenset({BLUE, VERMILLION, GREEN, PURPLE})

Panel = timeseries.Panel | stat.Panel | table.Panel | bargauge.Panel
SOURCE = model.DataSourceRef(type_val="prometheus", uid="${datasource}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One query of a graph. ``dashed`` sets it off without colour."""

    query: str
    legend: str
    colour: str = BLUE
    dashed: bool = False


def graph(title: str, text: str, unit: str, lines: Sequence[Line], width: int = 12) -> Panel:
    """Lines over time; the series of one query share a colour in shades, their names and last
    values stand in the legend."""
    panel = (
        timeseries.Panel()
        .title(title)
        .description(text)
        .datasource(SOURCE)
        .unit(unit)
        .min(0)
        .span(width)
        .height(8)
        .line_width(2)
        .fill_opacity(0)
        .span_nulls(False)
        .thresholds(_steps(BLUE))
        .legend(
            common.VizLegendOptions()
            .display_mode(shared.LegendDisplayMode.TABLE)
            .placement(shared.LegendPlacement.BOTTOM)
            .show_legend(True)
            .calcs(["lastNotNull", "min"])
        )
    )
    for letter, line in zip("ABCDEFGH", lines, strict=False):
        panel = panel.with_target(_query(letter, line.query, line.legend))
        panel = panel.override_by_query(letter, _style(line))
    return panel


def number(title: str, text: str, unit: str, query: str, warn_from: float | None) -> Panel:
    """One figure; from ``warn_from`` on it is vermillion, and as a figure it says so itself."""
    return (
        stat.Panel()
        .title(title)
        .description(text)
        .datasource(SOURCE)
        .unit(unit)
        .span(6)
        .height(4)
        .graph_mode(shared.BigValueGraphMode.NONE)
        .color_mode(shared.BigValueColorMode.VALUE)
        .reduce_options(common.ReduceDataOptions().calcs(["lastNotNull"]))
        .thresholds(_steps(BLUE, warn_from))
        .with_target(_query("A", query, "", instant=True))
    )


def listing(
    title: str,
    text: str,
    query: str,
    columns: Mapping[str, str],
    figure: tuple[str, str] = ("", "short"),
) -> Panel:
    """A table of what is so now: ``columns`` are labels and their headings, in order; ``figure``
    is the heading and unit of the number, without a heading where there is none to show."""
    heading, unit = figure
    names = {**columns, "Value": heading}
    hidden = {"Time": True, "__name__": True, "job": True, "role": True}
    if not heading:
        hidden["Value"] = True
    order = {label: index for index, label in enumerate((*columns, "Value"))}
    return (
        table.Panel()
        .title(title)
        .description(text)
        .datasource(SOURCE)
        .unit(unit)
        .span(24)
        .height(8)
        .thresholds(_steps(BLUE))
        .with_target(_query("A", query, "", instant=True, as_table=True))
        .with_transformation(
            model.DataTransformerConfig(
                id_val="organize",
                options={
                    "excludeByName": {
                        **{label: True for label in _NEVER_SHOWN if label not in columns},
                        **hidden,
                    },
                    "indexByName": order,
                    "renameByName": {key: name for key, name in names.items() if name},
                },
            )
        )
    )


_NEVER_SHOWN = ("array", "cause", "device", "incident", "kind", "level", "model")


def bars(title: str, text: str, unit: str, query: str, legend: str) -> Panel:
    """The latest figures side by side, each with its name and number."""
    return (
        bargauge.Panel()
        .title(title)
        .description(text)
        .datasource(SOURCE)
        .unit(unit)
        .min(0)
        .span(12)
        .height(8)
        .orientation(shared.VizOrientation.HORIZONTAL)
        .reduce_options(common.ReduceDataOptions().calcs(["lastNotNull"]))
        .thresholds(_steps(BLUE))
        .with_target(_query("A", query, legend, instant=True))
    )


def _query(
    letter: str, query: str, legend: str, *, instant: bool = False, as_table: bool = False
) -> prometheus.Dataquery:
    asked = prometheus.Dataquery().ref_id(letter).expr(query).legend_format(legend)
    asked = asked.datasource(SOURCE)
    if as_table:
        asked = asked.format(query_model.PromQueryFormat.TABLE)
    return asked.instant() if instant else asked.range()


def _style(line: Line) -> list[model.DynamicConfigValue]:
    dashes = {"fill": "dash", "dash": [8, 6]} if line.dashed else {"fill": "solid"}
    return [
        model.DynamicConfigValue(
            id_val="color", value={"mode": "shades", "fixedColor": line.colour}
        ),
        model.DynamicConfigValue(id_val="custom.lineStyle", value=dashes),
    ]


def _steps(colour: str, warn_from: float | None = None) -> build.ThresholdsConfig:
    """The first step reaches down for ever: its value is null."""
    steps = [model.Threshold(value=None, color=colour)]
    if warn_from is not None:
        steps.append(model.Threshold(value=warn_from, color=VERMILLION))
    return build.ThresholdsConfig().mode(model.ThresholdsMode.ABSOLUTE).steps(steps)
