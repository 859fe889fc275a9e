"""One station: its figures, days, findings, transfers, trips and hookups in a period."""

from __future__ import annotations

import time
from collections.abc import Iterable
from typing import Any

import dash
from dash import dcc, html

from bondtrail.results import Kind, Severity, TripClass
from dashboard import grids
from dashboard.figures.calendar import heat_strip
from dashboard.figures.trend import hookup_trend, trips_by_cause
from dashboard.figures.wear import resistance_course, trips_course
from dashboard.figures.wording import duration, ohms, plural, share, words
from dashboard.frame import caution_in_brief, civil, home_link, notice
from dashboard.history import current_store
from dashboard.parts import (
    aria,
    calendar_legend,
    from_before_note,
    graph,
    interval_text,
    severity_counts,
    severity_word,
    sheet,
    tally,
)
from dashboard.period import PeriodError
from dashboard.period_picker import picker
from dashboard.queries.sites import clock_at
from dashboard.queries.station import Choice, StationView, parse_choice, station_view
from dashboard.recorded import NOT_RECORDED, bypassed, in_flow
from dashboard.rows import (
    FINDING_COLUMNS,
    HOOKUP_COLUMNS,
    TRANSFER_COLUMNS,
    finding_row,
    hookup_row,
    transfer_row,
)
from dashboard.urls import Url, station_url, stations_url
from dashboard.wear_words import resistance_words, trips_words


def _title(station_id: str = "", **_: Any) -> str:
    return f"{station_id} - Bondtrail"


dash.register_page(  # type: ignore[no-untyped-call]
    __name__, path_template=Url.STATION.value, title=_title, order=1
)

Figure = tuple[str, str, str]


@civil
def layout(station_id: str = "", **query: Any) -> Any:
    """Return the page of a station for the period and the choice that the address names."""
    choice = parse_choice(query.get("kind"), query.get("severity"))
    try:
        view = station_view(current_store(), station_id, query.get("from"), query.get("to"), choice)
    except PeriodError as exc:
        return notice("That period cannot be shown", str(exc), home_link())
    if view is None:
        return notice(
            "No such station",
            f"The site in the history has no station {station_id!r} with results.",
            home_link(),
        )
    return html.Div(
        [
            html.Nav(
                [dcc.Link("Stations", href=stations_url(view.period)), f" / {view.station.name}"],
                className="crumb",
                **aria("Where this page is"),
            ),
            html.Div([_heading(view), _picker(view, choice)], className="title-row"),
            html.Section([_tally(view), caution_in_brief()], className="sheet", **aria("Figures")),
            sheet(
                f"Worst finding of each {view.column_days}",
                graph(
                    "station-calendar",
                    heat_strip(view.calendar, row_px=30),
                    f"Calendar of {view.station.name}: worst finding of each {view.column_days}",
                ),
                calendar_legend(),
            ),
            _findings(view, choice),
            _transfers(view),
            html.Div(
                [
                    html.Div([_hookups(view), _trips(view)]),
                    html.Div([_hookup_trend(view), _trips_course(view)]),
                ],
                className="columns columns-even",
            ),
            _resistance(view),
        ]
    )


def _heading(view: StationView) -> html.Div:
    station = view.station
    place = [words(station.kind), station.product]
    if station.unit is not None:
        channel = "" if station.channel is None else f" channel {station.channel}"
        place.append(f"monitor {station.unit}{channel}")
    place.append(f"limit {ohms(station.limits.limit_ohm)}")
    place.append(f"times in {view.site.timezone}")
    said = ", ".join(part for part in place if part)
    return html.Div([html.H1(station.name), html.P(said, className="sub")])


def _picker(view: StationView, choice: Choice) -> html.Div:
    def url(period: Any) -> str:
        return station_url(view.station.id, period, choice.kinds, choice.severities)

    return picker(view.period, view.whole, url)


def _tally(view: StationView) -> html.Dl:
    row, sums = view.row, view.row.sums
    return tally(
        [
            *_transfer_figures(view),
            *severity_counts(row.severities, row.from_before),
            *_bond_figures(view),
            ("Flow not bonded", in_flow(sums.not_bonded_s, view.station), _of_flow(view)),
            ("Flow, bond unknown", in_flow(sums.no_data_s, view.station), "counts neither way"),
            _bypass_figure(view),
            ("Bond state known", share(row.coverage), "of recorded time"),
        ]
    )


def _transfer_figures(view: StationView) -> list[Figure]:
    row, compliance, trips = view.row, view.row.compliance, view.row.trips.total()
    if not row.sums.transfers and not view.station.tells_flow:
        beside = "no flow or running point"
        return [(name, NOT_RECORDED, beside) for name in ("Compliant transfers", "Nuisance trips")]
    good = share(compliance.value) if compliance and not compliance.is_few else "-"
    return [
        ("Compliant transfers", good, interval_text(compliance)),
        ("Nuisance trips", f"{row.nuisance_trips:,}", f"of {plural(trips, 'trip')}"),
    ]


def _bond_figures(view: StationView) -> list[Figure]:
    """Return how the bond was made, or for plant that must stay bonded, how long it was."""
    sums = view.row.sums
    if view.station.is_fixed:
        known = f"{duration(sums.low_s)} of {duration(sums.known_s)}"
        return [("Bonded, of known time", share(view.row.bonded), known)]
    return [("Failed hookups", f"{sums.failed_hookups:,}", f"of {sums.hookups:,}")]


def _bypass_figure(view: StationView) -> Figure:
    told = bypassed(view.row.sums.bypassed_s, view.station)
    seen = told != NOT_RECORDED
    return "Flow bypassed", told, "interlock defeated" if seen else "cannot be seen here"


def _of_flow(view: StationView) -> str:
    return (
        f"of {in_flow(view.row.sums.flow_s, view.station)} flow" if view.station.tells_flow else ""
    )


def _findings(view: StationView, choice: Choice) -> html.Section:
    rows = [finding_row(f, view.site.zone, view.reviews.get(f.id)) for f in view.findings]
    found = sum(view.kinds.values())
    if not found:
        return sheet("Findings", html.P("No findings in this period.", className="inline-state"))
    chosen = _chosen_count(view, choice)
    before = view.row.from_before.total()
    body: Any = grids.grid("station-findings", FINDING_COLUMNS, rows, "Findings, latest first")
    if not rows:
        body = html.P("No finding is of that kind and severity.", className="inline-state")
    return sheet(
        "Findings",
        _filters(view, choice),
        body,
        _how_many(len(rows), chosen, "finding"),
        from_before_note(before),
    )


def _chosen_count(view: StationView, choice: Choice) -> int:
    return sum(
        count
        for (kind, severity), count in view.kinds.items()
        if kind in (choice.kinds or {kind}) and severity in (choice.severities or {severity})
    )


def _filters(view: StationView, choice: Choice) -> html.Nav:
    """Return the choice of kinds and severities; each is an address, so it can be sent."""
    severities = {s: sum(n for (_, t), n in view.kinds.items() if t is s) for s in Severity}
    kinds = {k: sum(n for (t, _), n in view.kinds.items() if t is k) for k in Kind}
    chips: list[Any] = [_chip("All", view, Choice(), choice == Choice())]
    for severity, count in severities.items():
        if count:
            toggled = Choice(choice.kinds, choice.severities ^ {severity})
            text = f"{severity_word(severity)} {count}"
            chips.append(_chip(text, view, toggled, severity in choice.severities))
    for kind, count in kinds.items():
        if count:
            toggled = Choice(choice.kinds ^ {kind}, choice.severities)
            chips.append(_chip(f"{words(kind)} {count}", view, toggled, kind in choice.kinds))
    return html.Nav(chips, className="filters", **aria("Findings to list"))


def _chip(text: str, view: StationView, choice: Choice, chosen: bool) -> dcc.Link:
    href = station_url(view.station.id, view.period, choice.kinds, choice.severities)
    return dcc.Link(text, href=href, className=f"chip{' is-chosen' if chosen else ''}")


def _how_many(listed: int, of: int, noun: str) -> html.P:
    if listed < of:
        text = f"The latest {listed:,} of {plural(of, noun)}. A shorter period shows the others."
    else:
        text = f"{plural(of, noun).capitalize()}."
    return html.P(text, className="note")


def _transfers(view: StationView) -> html.Section:
    rows = [transfer_row(transfer, view.station, view.site.zone) for transfer in view.transfers]
    if not rows:
        said = "No transfers in this period."
        return sheet("Transfers", html.P(said, className="inline-state"))
    grid = grids.grid("station-transfers", TRANSFER_COLUMNS, rows, "Transfers, latest first")
    return sheet("Transfers", grid, _how_many(len(rows), view.row.sums.transfers, "transfer"))


def _hookup_trend(view: StationView) -> html.Section:
    told = [hookup for hookup in view.hookups if hookup.lowest_ohm is not None]
    if not told:
        return sheet(
            "Contact resistance", html.P("No hookups with a reading.", className="inline-state")
        )
    start, _ = view.period.bounds(view.site.zone)
    figure = hookup_trend(told, view.station.limits.limit_ohm, clock_at(start, view.site.zone))
    label = "Resistance of each hookup over time, against the limit"
    return sheet("Contact resistance of each hookup", graph("station-trend", figure, label))


def _trips(view: StationView) -> html.Section:
    counts = {trip.cause: trip.count for trip in view.trips}  # a cause is of one class
    if not counts:
        return sheet("Trips by cause", html.P("No trips in this period.", className="inline-state"))
    nuisance = frozenset(t.cause for t in view.trips if t.trip_class is TripClass.NUISANCE)
    label = "Trips by cause: " + ", ".join(f"{words(c)} {n}" for c, n in counts.items())
    figure = trips_by_cause(counts, nuisance)
    return sheet("Trips by cause", graph("station-trips", figure, label))


def _trips_course(view: StationView) -> html.Section | None:
    course = view.trips_course
    if not course.times.size:
        return None
    told = list(trips_words(course.trend))
    clock = clock_at(course.span[0], view.site.zone)
    figure = trips_course(course.times, course.span, clock, course.fit)
    label = f"How trips add up over the period. {' '.join(told)}"
    return sheet("Trips over time", graph("station-trips-course", figure, label), _plain(told))


def _plain(told: Iterable[str]) -> html.Ul:
    return html.Ul([html.Li(text) for text in told], className="plain")


def _resistance(view: StationView) -> html.Section | None:
    """Return where bonded resistance is heading, judged over the whole history."""
    title = "Bonded resistance of each hookup, whole history"
    if view.station.is_fixed:
        return None
    if view.resistance is None:
        said = "No verified hookup with a reading so far."
        return sheet(title, html.P(said, className="inline-state"))
    told = list(resistance_words(view.resistance, view.site.zone, time.time_ns()))
    clock = clock_at(view.resistance.period[0], view.site.zone)
    figure = resistance_course(view.resistance, clock)
    label = f"Median resistance of each verified hookup against the limit. {' '.join(told)}"
    return sheet(
        title,
        graph("station-resistance", figure, label),
        _plain(told),
        html.P(
            "Judged over the whole history, whatever the period (shaded). A trend begins anew "
            "after work behind which resistance was lower. Only the latest 1,000 hookups of a "
            "stretch are looked at.",
            className="note",
        ),
    )


def _hookups(view: StationView) -> Any:
    if view.station.is_fixed:
        return None
    rows = [hookup_row(hookup, view.site.zone) for hookup in view.hookups]
    if not rows:
        return sheet("Hookups", html.P("No hookups in this period.", className="inline-state"))
    grid = grids.grid("station-hookups", HOOKUP_COLUMNS, rows, "Hookups, latest first")
    note = _how_many(len(rows), view.row.sums.hookups, "hookup")
    return sheet("Hookups", grid, note, _touches(view.row.sums.touches))


def _touches(count: int) -> html.P | None:
    if not count:
        return None
    text = f"Besides, contact was made {plural(count, 'time')} too briefly to be a hookup."
    return html.P(text, className="note")
