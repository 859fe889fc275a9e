"""All stations of the site, worst first, and what each day of each was like."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from typing import Any

import dash
from dash import Input, Output, State, callback, dcc, html, no_update

from analytics.core.rates import Rate
from analytics.core.shares import TOO_FEW, wilson
from bondtrail.results import Severity
from dashboard import grids
from dashboard.figures.calendar import heat_strip
from dashboard.figures.wording import plural, share, words
from dashboard.frame import caution_in_brief, civil, nothing_yet, notice
from dashboard.history import current_store
from dashboard.parts import (
    aria,
    calendar_legend,
    graph,
    interval_text,
    rate_text,
    severity_counts,
    share_text,
    sheet,
    tally,
)
from dashboard.period import Period, PeriodError
from dashboard.period_picker import picker
from dashboard.queries.stations import Overview, StationRow, nuisance_rates, overview_of
from dashboard.recorded import NOT_RECORDED, among, bypassed, in_flow
from dashboard.urls import Url, station_url, stations_url

dash.register_page(  # type: ignore[no-untyped-call]
    __name__, path=Url.STATIONS.value, title="Stations - Bondtrail", order=0
)


@civil
def layout(**query: Any) -> Any:
    """Return the page for the period that the address names."""
    try:
        overview = overview_of(current_store(), query.get("from"), query.get("to"))
    except PeriodError as exc:
        return notice("That period cannot be shown", str(exc), dcc.Link("Whole history", href="/"))
    if overview is None:
        return nothing_yet()
    return html.Div(
        [
            html.Div(
                [_title(overview), picker(overview.period, overview.whole, stations_url)],
                className="title-row",
            ),
            html.Section(
                [_site_tally(overview), caution_in_brief()],
                className="sheet",
                **aria("The whole site"),
            ),
            sheet("Stations, worst first", _grid(overview), _grid_note(), _unlisted(overview)),
            sheet(f"Worst finding of each {overview.column_days}", *_calendar(overview)),
            dcc.Store(
                id="stations-period", data=[str(overview.period.first), str(overview.period.last)]
            ),
        ]
    )


def _title(overview: Overview) -> html.Div:
    days = f"{overview.period}, {plural(overview.period.days, 'day')} on the site's clock"
    return html.Div(
        [html.H1("Stations"), html.P(f"{days} ({overview.site.timezone})", className="sub")]
    )


def _site_tally(overview: Overview) -> html.Dl:
    rows = overview.rows
    transfers = sum(row.sums.transfers for row in rows)
    good = (
        wilson(sum(row.sums.compliant_transfers for row in rows), transfers) if transfers else None
    )
    severities: Counter[Severity] = Counter()
    before: Counter[Severity] = Counter()
    for row in rows:
        severities.update(row.severities)
        before.update(row.from_before)
    known = sum(row.sums.known_s for row in rows)
    whole = known + sum(row.sums.unknown_s for row in rows)
    trips = sum(row.trips.total() for row in rows)
    nuisance = sum(row.nuisance_trips for row in rows)
    return tally(
        [
            ("Compliant transfers", share(good.value) if good else "-", interval_text(good)),
            *severity_counts(severities, before),
            ("Nuisance trips", f"{nuisance:,}", f"of {plural(trips, 'trip')}"),
            ("Bond state known", share(known / whole) if whole else "-", "of recorded time"),
        ]
    )


COLUMNS = [
    grids.link("name", "Station", 174, pinned="left"),
    grids.count_of("critical", "critical", "◆ Critical", 84),
    grids.count_of("major", "major", "▲ Major", 76),
    grids.number("nuisance", "Nuisance trips", 86, **grids.shown_as("nuisance_text")),
    grids.number(
        "rate",
        "Per 100 transfers (95\u00a0%)",
        138,
        **grids.shown_as("rate_text"),
        tooltipField="rate_told",
    ),
    grids.count_of("minor", "minor", "● Minor", 76),
    grids.number("from_before", "Findings from before", 84),
    grids.number("compliant", "Compliant transfers", 96, **grids.shown_as("compliant_text")),
    grids.number("share", "Share (95 % interval)", 166, **grids.shown_as("share_text")),
    grids.number("not_bonded_s", "Flow not bonded", 103, **grids.shown_as("not_bonded")),
    grids.number("no_data_s", "Flow, bond unknown", 104, **grids.shown_as("no_data")),
    grids.number("bypassed_s", "Flow bypassed", 103, **grids.shown_as("bypassed")),
    grids.number("failed", "Failed hookups", 88, **grids.shown_as("hookups")),
    grids.number("bonded", "Bonded, of known time", 92, **grids.shown_as("bonded_text")),
    grids.number("coverage", "Bond known", 76, **grids.shown_as("coverage_text")),
    grids.text("kind", "Kind", 118, flex=1, minWidth=118, tooltipField="kind"),
]

SPARED = ("from_before", "bonded")
"""Columns that are left out where they say nothing of any station."""


def _grid(overview: Overview) -> html.Div:
    rates = nuisance_rates(overview.rows)
    rows = [_grid_row(row, rate, overview) for row, rate in zip(overview.rows, rates, strict=True)]
    idle = {name for name in SPARED if all(row[name] is None for row in rows)}
    columns = [column for column in COLUMNS if column["field"] not in idle]
    return grids.grid("stations-grid", columns, rows, "Stations, worst first")


def _grid_row(row: StationRow, rate: Rate, overview: Overview) -> grids.Row:
    sums, compliance, told = row.sums, row.compliance, row.station.tells_flow
    return {
        "name": row.station.name,
        "href": station_url(row.station.id, overview.period),
        "kind": words(row.station.kind),
        "critical": row.severities[Severity.CRITICAL],
        "major": row.severities[Severity.MAJOR],
        "minor": row.severities[Severity.MINOR],
        "from_before": row.from_before.total() or None,
        "nuisance": row.nuisance_trips,
        "nuisance_text": among(row.nuisance_trips, row.trips.total(), told),
        "rate": None if rate.is_few else rate.low,
        "rate_text": _rate(rate, told),
        "rate_told": f"{rate_text(rate)}, {plural(rate.count, 'trip')}",
        "compliant": sums.compliant_transfers,
        "compliant_text": among(sums.compliant_transfers, sums.transfers, told),
        "share": compliance.value if compliance else None,
        "share_text": share_text(compliance) if compliance or told else NOT_RECORDED,
        "not_bonded_s": sums.not_bonded_s,
        "not_bonded": in_flow(sums.not_bonded_s, row.station),
        "no_data_s": sums.no_data_s,
        "no_data": in_flow(sums.no_data_s, row.station),
        "bypassed_s": sums.bypassed_s,
        "bypassed": bypassed(sums.bypassed_s, row.station),
        "failed": sums.failed_hookups,
        "hookups": _hookups(row),
        "bonded": row.bonded if row.station.is_fixed else None,
        "bonded_text": share(row.bonded) if row.station.is_fixed else "-",
        "coverage": row.coverage,
        "coverage_text": "no record" if row.coverage is None else share(row.coverage),
    }


def _rate(rate: Rate, told: bool) -> str:
    """Return a rate as text; it is sorted by its cautious end, and few are no rate."""
    if rate.value is None:
        return "-" if told else NOT_RECORDED
    return TOO_FEW if rate.is_few else rate_text(rate)


def _hookups(row: StationRow) -> str:
    if row.station.is_fixed:
        return "fixed item"
    noted = row.station.bond_role is not None
    return among(row.sums.failed_hookups, row.sums.hookups, noted)


def _grid_note() -> html.P:
    return html.P(
        "Ordered by critical findings, then major findings, then nuisance trips: by counts, "
        "not by rates. Findings count in every period that they touch, transfers, trips and "
        "hookups in the one in which they began. Time in which the bond state is unknown counts "
        "neither as bonded nor as unbonded.",
        className="note",
    )


def _unlisted(overview: Overview) -> html.P | None:
    """Say which results are not shown, because the site file no longer knows their station."""
    if not overview.unlisted:
        return None
    names = ", ".join(overview.unlisted[:12]) + (", ..." if len(overview.unlisted) > 12 else "")
    return html.P(
        f"Not shown: results of {plural(len(overview.unlisted), 'station')} that the site file in "
        f"force does not have ({names}).",
        className="warning",
    )


def _calendar(overview: Overview) -> list[Any]:
    drawn = len(overview.calendar.ids)
    label = f"Calendar: worst finding of each station by {overview.column_days}"
    parts: list[Any] = [
        graph("stations-calendar", heat_strip(overview.calendar), label),
        calendar_legend(),
    ]
    if drawn < len(overview.rows):
        parts.append(
            html.P(
                f"The first {drawn} of {len(overview.rows)} stations are drawn.", className="note"
            )
        )
    return parts


@callback(
    Output("board-go", "href", allow_duplicate=True),
    Input("stations-calendar", "clickData"),
    State("stations-period", "data"),
    prevent_initial_call=True,
)
def open_station(click: dict[str, Any] | None, period: list[str]) -> Any:
    """Return the address of the station whose day was clicked."""
    if not click:
        return no_update
    days = Period(*(dt.date.fromisoformat(day) for day in period))
    return station_url(click["points"][0]["y"], days)
