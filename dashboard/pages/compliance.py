"""Compliance: the share of transfers with a verified bond, for whoever signs it."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from typing import Any

import dash
from dash import Input, Output, State, callback, dcc, html, no_update

from analytics.core.charts import pareto
from dashboard import grids
from dashboard.compliance_head import course, headline, holes
from dashboard.compliance_rows import (
    FAILED_COLUMNS,
    NUISANCE_COLUMNS,
    OUTSIDE,
    SHIFT_COLUMNS,
    failed_rows,
    group_row,
    nuisance_row,
    place_columns,
    shift_row,
)
from dashboard.downloads import DownloadError, report_file
from dashboard.figures.pareto import pareto_bars
from dashboard.figures.shares import Row, intervals
from dashboard.figures.wording import plural
from dashboard.frame import civil, nothing_yet, notice
from dashboard.history import current_store
from dashboard.parts import aria, graph, sheet
from dashboard.period import PeriodError
from dashboard.period_picker import picker
from dashboard.queries.compliance import (
    ChoiceError,
    ComplianceView,
    Group,
    Scope,
    compliance_view,
)
from dashboard.urls import NO_SHIFT, Url, compliance_url
from store import StoreError

dash.register_page(  # type: ignore[no-untyped-call]
    __name__, path=Url.COMPLIANCE.value, title="Compliance - Bondtrail", order=2
)

DRAWN = 40
"""Stations of the chart; the table beside it has all of them."""
PARETO_BARS = 20


@civil
def layout(**query: Any) -> Any:
    """Return the page for the period, the area and the shift that the address names."""
    scope = scope_of(query.get("area"), query.get("shift"))
    try:
        view = compliance_view(current_store(), query.get("from"), query.get("to"), scope)
    except PeriodError as exc:
        return notice("That period cannot be shown", str(exc), _whole_link())
    except ChoiceError as exc:
        return notice("There is no such choice", str(exc), _whole_link())
    if view is None:
        return nothing_yet()
    return html.Div(
        [
            html.Div([_title(view), _picker(view)], className="title-row"),
            _choices(view),
            headline(view),
            holes(view),
            course(view),
            _stations(view),
            _groups(view),
            _failed(view),
            _nuisances(view),
            _downloads(view),
        ]
    )


def scope_of(area: str | None, shift: str | None) -> Scope:
    """Return the choice that an address makes."""
    return Scope(area or None, "" if shift == NO_SHIFT else shift or None)


def _whole_link() -> dcc.Link:
    return dcc.Link("Compliance of the whole history", href=compliance_url())


def _title(view: ComplianceView) -> html.Div:
    days = f"{view.period}, {plural(view.period.days, 'day')} on the site's clock"
    said = f"{_scope_words(view.scope)}. {days} ({view.site.timezone})"
    return html.Div([html.H1("Compliance"), html.P(said, className="sub")])


def _scope_words(scope: Scope) -> str:
    area = "All areas" if scope.area is None else f"Area {scope.area}"
    if scope.shift is None:
        return f"{area}, all hours"
    return f"{area}, {_shift_words(scope.shift)}"


def _shift_words(shift: str) -> str:
    return f"shift {shift}" if shift else OUTSIDE


def _picker(view: ComplianceView) -> html.Div:
    def url(period: Any) -> str:
        return compliance_url(period, view.scope.area, view.scope.shift)

    return picker(view.period, view.whole, url)


def _choices(view: ComplianceView) -> html.Div | None:
    """Return the choice of area and shift; each is an address, so it can be sent."""
    parts = [
        _chips("Area", [(None, "All areas"), *((name, name) for name in view.area_names)], view)
        if view.area_names
        else None,
        _chips(
            "Shift",
            [(None, "All hours"), *((name, name or OUTSIDE) for name in view.shift_names)],
            view,
        )
        if view.shift_names
        else None,
    ]
    told = [part for part in parts if part is not None]
    return html.Div(told, className="choices") if told else None


def _chips(about: str, names: Sequence[tuple[str | None, str]], view: ComplianceView) -> html.Nav:
    scope, is_area = view.scope, about == "Area"
    current = scope.area if is_area else scope.shift
    links = []
    for value, text in names:
        area, shift = (value, scope.shift) if is_area else (scope.area, value)
        chosen = " is-chosen" if value == current else ""
        href = compliance_url(view.period, area, shift)
        links.append(dcc.Link(text, href=href, className=f"chip{chosen}"))
    return html.Nav(
        [html.Span(about, className="filters-name"), *links],
        className="filters",
        **aria(f"{about} to show"),
    )


def _stations(view: ComplianceView) -> html.Section:
    drawn = [place for place in view.stations if place.group.compliance.of][:DRAWN]
    rows = [group_row(place, view) for place in view.stations]
    parts: list[Any] = []
    if drawn:
        figure = intervals(
            [Row(_name(place.group), place.group.compliance) for place in drawn],
            view.total.compliance,
        )
        label = "Compliance of each station with its 95 % interval, worst first"
        parts.append(graph("compliance-stations-chart", figure, label))
    if sum(bool(place.group.compliance.of) for place in view.stations) > len(drawn):
        parts.append(html.P(f"The first {len(drawn)} stations are drawn.", className="note"))
    parts += [
        grids.grid(
            "compliance-stations", place_columns("Station"), rows, "Compliance of each station"
        ),
        _rank_note(),
    ]
    return sheet("By station, worst first", *parts)


def _rank_note() -> html.P:
    return html.P(
        "Ranked by the cautious end of the 95 % interval, here the upper one, lowest first. With "
        "fewer than five transfers there is too little to rank. The dotted line is the whole of "
        "what is chosen.",
        className="note",
    )


def _name(group: Group) -> str:
    return group.station.name if group.station else group.name


def _groups(view: ComplianceView) -> html.Div | None:
    parts = [part for part in (_areas(view), _shifts(view)) if part is not None]
    return html.Div(parts, className="columns columns-even") if parts else None


def _areas(view: ComplianceView) -> html.Section | None:
    if not view.areas:
        return None
    shown = [Row(place.group.name, place.group.compliance) for place in view.areas]
    rows = [group_row(place, view) for place in view.areas]
    return sheet(
        "By area, worst first",
        graph(
            "compliance-areas-chart",
            intervals(shown, view.total.compliance),
            "Compliance of each area with its 95 % interval, worst first",
        ),
        grids.grid("compliance-areas", place_columns("Area"), rows, "Compliance of each area"),
    )


def _shifts(view: ComplianceView) -> html.Section | None:
    if not view.shifts:
        return None
    told = [group for group in view.shifts if group.name or group.compliance.of]
    shown = [Row(group.name or OUTSIDE, group.compliance) for group in told]
    rows = [shift_row(group, view) for group in told]
    return sheet(
        "By shift",
        graph(
            "compliance-shifts-chart",
            intervals(shown, view.total.compliance),
            "Compliance of each shift with its 95 % interval",
        ),
        grids.grid("compliance-shifts", SHIFT_COLUMNS, rows, "Compliance of each shift"),
        html.P("A transfer counts in the shift in which it began.", className="note"),
    )


def _failed(view: ComplianceView) -> html.Section:
    title = "Transfers that are not compliant"
    of = sum(view.worst.values())
    if not view.failed:
        said = "Every transfer is compliant, or there was none."
        return sheet(title, html.P(said, className="inline-state"))
    rows = failed_rows(view.failed, view.site)
    text = f"{plural(of, 'transfer').capitalize()}, latest first."
    if len(rows) < of:
        text = (
            f"The latest {len(rows):,} of {plural(of, 'transfer')}. A shorter period shows the "
            "others, and the report of a period holds all of it."
        )
    return sheet(
        title,
        grids.grid("compliance-failed", FAILED_COLUMNS, rows, f"{title}, latest first"),
        html.P(text, className="note"),
    )


def _nuisances(view: ComplianceView) -> html.Section:
    title = "Nuisance trips by station"
    if not view.nuisances:
        said = "No nuisance trips in this period."
        return sheet(title, html.P(said, className="inline-state"))
    bars = pareto({row.name: row.count for row in view.nuisances})
    cumulative = {row.name: row.cumulative for row in bars}
    rows = [nuisance_row(each, cumulative[each.name], view.period) for each in view.nuisances]
    label = "Nuisance trips of each station, most first, and their share of all added up"
    drawn = (
        html.P(f"The first {PARETO_BARS} of {len(bars)} stations are drawn.", className="note")
        if len(bars) > PARETO_BARS
        else None
    )
    return sheet(
        title,
        graph("compliance-pareto", pareto_bars(bars[:PARETO_BARS], "nuisance trips"), label),
        drawn,
        grids.grid("compliance-nuisances", NUISANCE_COLUMNS, rows, title),
        html.P(
            "A nuisance trip has no lasting loss of bond behind it. Rates have the exact Poisson "
            "95 % interval; the rank goes by its lower end, among rates per transfer. Trips that "
            "come in clusters vary more than the interval says.",
            className="note",
        ),
    )


def _downloads(view: ComplianceView) -> html.Section:
    shift = (
        "The report covers all hours: it is not narrowed to the shift. "
        if view.scope.shift is not None
        else ""
    )
    return sheet(
        "Report of this period",
        html.Div(
            [
                html.Button("Page to print (HTML)", id="compliance-html", className="button"),
                html.Button("Workbook (XLSX)", id="compliance-xlsx", className="button"),
            ],
            className="filters",
        ),
        html.P(
            f"{shift}Both hold the same tables: every transfer that is not compliant, holes in "
            "the records, limits in force and more. A long period takes some seconds.",
            className="note",
        ),
        dcc.Loading(html.P("", id="compliance-said", role="status", className="note"), type="dot"),
        dcc.Download(id="compliance-file"),
        dcc.Store(
            id="compliance-asked",
            data=[str(view.period.first), str(view.period.last), view.scope.area],
        ),
    )


@callback(
    Output("compliance-file", "data"),
    Output("compliance-said", "children"),
    Input("compliance-html", "n_clicks"),
    Input("compliance-xlsx", "n_clicks"),
    State("compliance-asked", "data"),
    prevent_initial_call=True,
)
def download(_html: int | None, _xlsx: int | None, asked: list[str | None]) -> Any:
    """Return the report of the period as a file, or in words why there is none."""
    pressed = dash.ctx.triggered_id
    if not (_html or _xlsx) or pressed is None:
        return no_update, no_update
    first, last, area = asked
    suffix = f".{str(pressed).rpartition('-')[2]}"
    try:
        name, content = report_file(current_store(), str(first), str(last), area, suffix)
    except (DownloadError, StoreError) as exc:
        return no_update, str(exc)
    file = {"filename": name, "content": b64encode(content).decode(), "base64": True}
    return file, f"{name} is ready."
