"""Alarms of each operator position: figures beside the published levels, floods, top ten."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

import dash
from dash import dcc, html

from analytics.alarms import PositionFigures
from analytics.core import alarm_wording as wording
from analytics.core.alarm_figures import TOP, OneAlarm
from analytics.core.alarm_floods import Flood
from analytics.core.alarm_levels import Judgement, Kpi, kpis
from bondtrail.results import Alarm
from bondtrail.times import local, seconds
from dashboard import grids
from dashboard.figures.alarms import alarm_bars
from dashboard.figures.wording import duration, plural, words
from dashboard.frame import caution_in_brief, civil, nothing_yet, notice
from dashboard.history import current_store
from dashboard.parts import aria, graph, sheet
from dashboard.period import Period, PeriodError
from dashboard.period_picker import picker
from dashboard.queries.alarms import AlarmView, alarm_view, how_many_over
from dashboard.urls import Url, alarms_url, station_url

dash.register_page(  # type: ignore[no-untyped-call]
    __name__, path=Url.ALARMS.value, title="Alarms - Bondtrail", order=4
)

LISTED = 200
"""Rows of a list; how many there are is said."""


@civil
def layout(**query: Any) -> Any:
    """Return the page for the period and the position that the address names."""
    try:
        view = alarm_view(
            current_store(), query.get("from"), query.get("to"), query.get("position")
        )
    except PeriodError as exc:
        whole = dcc.Link("Whole history", href=alarms_url())
        return notice("That period cannot be shown", str(exc), whole)
    if view is None:
        return nothing_yet()
    if not view.positions:
        return notice(
            "Nothing on record in this period",
            f"{view.period}: readings are on record from "
            f"{local(view.history.start, view.site.zone):%Y-%m-%d %H:%M} to "
            f"{local(view.history.end, view.site.zone):%Y-%m-%d %H:%M}. What nobody recorded "
            "counts neither way.",
            dcc.Link("Whole history", href=alarms_url()),
        )
    if view.chosen is None:
        every = dcc.Link("All positions", href=alarms_url(view.period))
        return notice(
            "No such position", f"No station has the position {query.get('position')!r}.", every
        )
    return html.Div(
        [
            html.Div(
                [_title(view), picker(view.period, view.whole, _here(view.chosen))],
                className="title-row",
            ),
            caution_in_brief(),
            _positions(view) if len(view.positions) > 1 else None,
            _levels(view.chosen, view.site.zone),
            _over_time(view),
            _each(view.chosen, view),
            html.Div(
                [_floods(view.chosen, view.site.zone), _standing(view.chosen, view)],
                className="columns columns-even",
            ),
        ]
    )


def _here(chosen: PositionFigures) -> Any:
    return lambda period: alarms_url(period, chosen.position)


def _title(view: AlarmView) -> html.Div:
    days = f"{view.period}, {plural(view.period.days, 'day')} on the site's clock"
    return html.Div([html.H1("Alarms"), html.P(f"{days} ({view.site.timezone})", className="sub")])


POSITION_COLUMNS = [
    grids.link("position", "Position", 200, pinned="left"),
    grids.number("stations", "Stations", 84),
    grids.count_of("major", "over", "Figures over", 92),
    grids.number("alarms", "Alarms", 90, **grids.shown_as("alarms_text")),
    grids.number("per_hour", "Per hour", 84, **grids.shown_as("per_hour_text")),
    grids.number("peak", "Most in 10 min", 86),
    grids.number("floods", "Floods", 78),
    grids.number("flood_share", "Time in flood", 88, **grids.shown_as("flood_text")),
    grids.number("top_share", "Share of top ten", 92, **grids.shown_as("top_text")),
    grids.number("chattering", "Chattering", 96),
    grids.number("fleeting", "Fleeting", 84),
    grids.number("stale", "Stale, most on a day", 96),
    grids.number("standing", "Standing at the end", 96),
]


def _positions(view: AlarmView) -> html.Section:
    rows = [_position_row(row, view.period) for row in view.positions]
    chosen = view.chosen.position if view.chosen else ""
    return sheet(
        "Positions",
        grids.grid("alarms-positions", POSITION_COLUMNS, rows, "Operator positions"),
        html.P(
            f"Those with most figures over their level first. Shown below: {chosen}.",
            className="note",
        ),
    )


def _position_row(row: PositionFigures, period: Period) -> grids.Row:
    figures = row.figures
    top = figures.top_share
    return {
        "position": row.position,
        "href": alarms_url(period, row.position),
        "stations": len(row.stations),
        "over": how_many_over(row),
        "alarms": figures.count,
        "alarms_text": f"{figures.count:,}",
        "per_hour": figures.per_hour,
        "per_hour_text": wording.number(figures.per_hour),
        "peak": figures.peak.count,
        "floods": len(figures.floods),
        "flood_share": figures.flood_share,
        "flood_text": wording.percent(figures.flood_share),
        "top_share": top,
        "top_text": "-" if top is None else wording.percent(top),
        "chattering": figures.chattering.tags,
        "fleeting": figures.fleeting.tags,
        "stale": figures.stale.most_on_a_day,
        "standing": len(figures.standing),
    }


def _levels(row: PositionFigures, zone: ZoneInfo) -> html.Section:
    """Return every figure beside its published levels."""
    head = ["Figure", "Value", "", "Acceptable", "Manageable", "Against the levels", "Published in"]
    table = html.Table(
        [
            html.Thead(html.Tr([html.Th(name, scope="col") for name in head])),
            html.Tbody([_level_row(kpi, row, zone) for kpi in kpis(row.figures)]),
        ],
        id="alarms-levels",
        className="levels",
    )
    stations = plural(len(row.stations), "station")
    return sheet(
        f"{row.position}: {plural(row.figures.count, 'alarm')} of {stations}",
        html.Div(
            [
                html.Div(
                    table, className="scrolls", tabIndex="0", role="region", **aria("Figures")
                ),
                html.Div(_notes(row, zone)),
            ],
            className="columns columns-fit",
        ),
    )


def _level_row(kpi: Kpi, row: PositionFigures, zone: ZoneInfo) -> html.Tr:
    level = kpi.level

    def when(moment: int) -> str:
        return f"{local(moment, zone):%Y-%m-%d %H:%M}"

    return html.Tr(
        [
            html.Th(wording.LABELS[level.name], scope="row"),
            html.Td(wording.value_text(kpi), className="figure"),
            html.Td(wording.detail(level.name, row.figures, when)),
            html.Td(wording.acceptable_text(level)),
            html.Td(wording.manageable_text(level)),
            html.Td(_judgement(kpi)),
            html.Td(level.source),
        ]
    )


def _judgement(kpi: Kpi) -> Any:
    """Return how a figure compares: grey unless above the acceptable level."""
    judgement = kpi.judgement
    if judgement is Judgement.OVER:
        return html.Span("↑ over", className="mark mark-major")
    if judgement is Judgement.MANAGEABLE:
        return html.Span("↗ within manageable", className="mark mark-minor")
    if judgement is None:
        return f"not judged: {kpi.not_judged}" if kpi.not_judged else "-"
    return str(judgement)


def _notes(row: PositionFigures, zone: ZoneInfo) -> list[html.P]:
    figures = row.figures
    span = " to ".join(
        f"{local(moment, zone):%Y-%m-%d %H:%M}" for moment in (figures.start, figures.end)
    )
    told = [
        f"Counted from {span}. {wording.CUT}" if row.is_cut else None,
        wording.coverage_note(row.coverage),
        wording.short_note(figures),
        " ".join([*wording.rules_told(figures.rules), wording.DIFFERENT]),
        "These are settings of the site file. The levels are those published for one operator "
        "position, about the work of a person and not about the hazard.",
    ]
    return [html.P(text, className="note") for text in told if text]


def _over_time(view: AlarmView) -> html.Section:
    bars = view.bars
    if bars is None or not bars.counts.any():
        return sheet("Alarms over time", _nothing("No alarm began in this period."))
    average = "" if bars.stretch == bars.unit else f", average of each {bars.stretch}"
    title = f"Alarms per {bars.unit}{average}"
    most = int(bars.counts.max())
    label = f"{title}; at most {plural(most, 'alarm')} in one {bars.stretch}"
    return sheet(title, graph("alarms-bars", alarm_bars(bars), label))


EACH_COLUMNS = [
    grids.number("rank", "No.", 60, sortingOrder=["asc", "desc", None]),
    grids.link("station", "Station", 180),
    grids.text("kind", "Alarm", 160),
    grids.number("count", "Alarms", 96, **grids.shown_as("count_text")),
    grids.number("share", "Share", 96, **grids.shown_as("share_text")),
    grids.number("episodes", "Chattering episodes", 110),
    grids.number("chattering", "Alarms in them", 100),
    grids.number("fleeting", "Fleeting", 96),
    grids.number("stale", "Stale", 80),
]


def _each(row: PositionFigures, view: AlarmView) -> html.Section:
    each = row.figures.each
    if not each:
        return sheet("Top ten and other alarms", _nothing("No alarm in this period."))
    rows = [_each_row(n, alarm, view) for n, alarm in enumerate(each[:LISTED], start=1)]
    top = row.figures.top_share
    said = (
        f"The first {TOP} are the top ten: "
        if len(each) > TOP
        else "All of them are in the top ten: "
    )
    share = "none began in this period" if top is None else f"{wording.percent(top)} of all alarms"
    return sheet(
        "Top ten and other alarms",
        grids.grid("alarms-each", EACH_COLUMNS, rows, "Alarms by station and kind, most first"),
        _note(f"{said}{share}. {_how_many(len(rows), len(each), 'different alarm')}"),
    )


def _each_row(rank: int, alarm: OneAlarm, view: AlarmView) -> grids.Row:
    return {
        "rank": rank,
        **_station(alarm.station, view),
        "kind": words(alarm.kind),
        "count": alarm.count,
        "count_text": f"{alarm.count:,}",
        "share": alarm.share,
        "share_text": wording.percent(alarm.share),
        "episodes": alarm.episodes,
        "chattering": alarm.chattering,
        "fleeting": alarm.fleeting,
        "stale": alarm.stale,
    }


FLOOD_COLUMNS = [
    grids.text("start", "Begins", 168),
    grids.text("end", "Ends", 168),
    grids.number("seconds", "Lasts", 105, **grids.shown_as("lasts")),
    grids.number("count", "Alarms", 84),
    grids.number("peak", "Most in 10 min", 90),
]


def _floods(row: PositionFigures, zone: ZoneInfo) -> html.Section:
    floods = row.figures.floods
    if not floods:
        return sheet("Floods", _nothing("No flood in this period."))
    latest = floods[: -LISTED - 1 : -1]
    rows = [_flood_row(flood, zone) for flood in latest]
    return sheet(
        "Floods",
        grids.grid("alarms-floods", FLOOD_COLUMNS, rows, "Floods, latest first"),
        _note(_how_many(len(rows), len(floods), "flood")),
    )


def _flood_row(flood: Flood, zone: ZoneInfo) -> grids.Row:
    length = seconds(flood.end - flood.start)
    return {
        "start": _written(flood.start, zone),
        "end": _written(flood.end, zone),
        "seconds": length,
        "lasts": duration(length),
        "count": flood.count,
        "peak": flood.peak,
    }


STANDING_COLUMNS = [
    grids.link("station", "Station", 160),
    grids.text("kind", "Alarm", 150),
    grids.text("since", "Since", 168),
    grids.number("seconds", "So far", 110, **grids.shown_as("so_far")),
]


def _standing(row: PositionFigures, view: AlarmView) -> html.Section:
    zone, at = view.site.zone, row.figures.standing_at
    title = f"Standing on {_written(at, zone)}"
    standing: Sequence[Alarm] = row.figures.standing
    if not standing:
        return sheet(title, _nothing("No alarm was active then."))
    rows = [_standing_row(alarm, at, view) for alarm in standing[:LISTED]]
    return sheet(
        title,
        grids.grid("alarms-standing", STANDING_COLUMNS, rows, "Alarms active then, oldest first"),
        _note(_how_many(len(rows), len(standing), "alarm")),
    )


def _standing_row(alarm: Alarm, at: int, view: AlarmView) -> grids.Row:
    length = seconds(at - alarm.start)
    return {
        **_station(alarm.station, view),
        "kind": words(alarm.kind),
        "since": _written(alarm.start, view.site.zone),
        "seconds": length,
        "so_far": duration(length),
    }


def _station(station: str, view: AlarmView) -> dict[str, str | None]:
    """Return the name of a station and its address; one that is gone has neither."""
    name = view.names.get(station)
    href = None if name is None else station_url(station, view.period)
    return {"station": name or station, "href": href}


def _written(moment: int, zone: ZoneInfo) -> str:
    return f"{local(moment, zone):%Y-%m-%d %H:%M:%S}"


def _how_many(listed: int, of: int, noun: str) -> str:
    every = f"{plural(of, noun).capitalize()}."
    return every if listed == of else f"Listed are {listed:,} of {plural(of, noun)}."


def _note(text: str) -> html.P:
    return html.P(text, className="note")


def _nothing(text: str) -> html.P:
    return html.P(text, className="inline-state")
