"""What comes in: coverage, last readings, clocks, jobs, and what was not taken."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import dash
from dash import dcc, html

from bondtrail.results import Severity
from bondtrail.watching import FEWEST_LAGS, SKEW_S, JobState, PointState, job_state
from dashboard import data_rows, grids
from dashboard.figures.wording import duration, plural
from dashboard.frame import caution_in_brief, civil, nothing_yet, notice
from dashboard.history import current_store
from dashboard.parts import aria, severity_mark_of, sheet, tally
from dashboard.period import Period, PeriodError
from dashboard.period_picker import picker
from dashboard.queries.data import REJECTS, DataView, data_view
from dashboard.urls import Url, data_url, station_url

dash.register_page(  # type: ignore[no-untyped-call]
    __name__, path=Url.DATA.value, title="Data - Bondtrail", order=5
)


def now_ns() -> int:
    """Return the time it is; the only clock of this page."""
    return time.time_ns()


@civil
def layout(**query: Any) -> Any:
    """Return the page; the address names the period of the coverage and the points to list."""
    asked = query.get("from"), query.get("to"), query.get("show")
    try:
        view = data_view(current_store(), now_ns(), *asked)
    except PeriodError as exc:
        whole = dcc.Link("Whole history", href=data_url())
        return notice("That period cannot be shown", str(exc), whole)
    if view is None:
        return nothing_yet()
    return html.Div(
        [
            html.Div([_title(view), _picker(view)], className="title-row"),
            caution_in_brief(),
            _overview(view),
            _sources(view),
            _jobs(view),
            _stations(view),
            _points(view),
            _rejects(view),
        ]
    )


def _title(view: DataView) -> html.Div:
    at = data_rows.written(view.now, view.site.zone)
    return html.Div(
        [html.H1("Data"), html.P(f"As of {at} ({view.site.timezone})", className="sub")]
    )


def _picker(view: DataView) -> Any:
    if view.period is None or view.whole is None:
        return None
    return picker(view.period, view.whole, lambda period: data_url(period, _shown(view.show)))


def _shown(state: PointState | None) -> str | None:
    return None if state is None else state.name.lower()


def _overview(view: DataView) -> html.Section:
    of = sum(view.states.values())
    newest = data_rows.age(None if view.last is None else (view.now - view.last) / 1e9)
    if view.last is None and view.states[PointState.AHEAD]:
        newest = "in the future"
    figures = [
        ("Points heard now", f"{view.states[PointState.HEARD]:,}", f"of {of:,}"),
        ("Newest reading", newest, "ago" if view.last is not None and view.last < view.now else ""),
        ("Sources", f"{len(view.sources):,}", _heard(view)),
        ("Waiting to be judged", f"{view.waiting:,}", f"of {len(view.site.stations):,} stations"),
    ]
    told = [html.Li(severity_mark_of(severity, text)) for severity, text in _out_of_order(view)]
    return sheet(
        "Now",
        tally(figures),
        html.Ul(told, className="told", **aria("Out of order"))
        if told
        else html.P(_all_well(view), className="note"),
    )


def _heard(view: DataView) -> str:
    ago_s = view.heard_ago_s
    return "that publish" if ago_s is None else f"last heard {duration(max(0, round(ago_s)))} ago"


def _all_well(view: DataView) -> str:
    if view.is_still and view.last is not None:
        return (
            "No point speaks now. Where readings come in files that is as it should be; where "
            "they come from a broker, look whether bondtrail listen runs."
        )
    return "Nothing is out of order."


def _out_of_order(view: DataView) -> Iterator[tuple[Severity, str]]:
    """Yield what somebody should look at, the gravest first, with what to do."""
    ahead, silent = view.states[PointState.AHEAD], view.states[PointState.SILENT]
    states = [job_state(job, view.now) for job in view.jobs]
    resting = states.count(JobState.RESTING) + states.count(JobState.UNENDED)
    if view.is_quiet:
        yield (
            Severity.MAJOR,
            f"No source heard for {duration(view.heard_ago_s)}: look whether bondtrail listen "
            "runs, and the broker; its log says what it waits for",
        )
    if view.failing:
        yield Severity.MAJOR, f"{plural(view.failing, 'job')} failing: see below why"
    if view.off:
        yield Severity.MAJOR, f"{plural(view.off, 'source')} with a clock that seems wrong"
    if ahead:
        yield (
            Severity.MAJOR,
            f"{plural(ahead, 'point')} with a reading in the future: set the clock of the source",
        )
    if resting and resting == len(states):
        yield Severity.MINOR, "The schedule does not run: nothing new is judged by itself"
    elif resting:
        yield Severity.MINOR, f"{plural(resting, 'job')} not done for long"
    if silent and not view.is_still:
        yield Severity.MINOR, f"{plural(silent, 'point')} silent: the last reading no longer holds"
    if view.refused:
        yield (
            Severity.MINOR,
            f"{plural(view.refused, 'row')} not taken, the last of them within a day: "
            "see below why",
        )


def _sources(view: DataView) -> html.Section:
    if not view.sources:
        text = "No source has published yet: readings came in files, or bondtrail listen never ran."
        return sheet("Clocks and lag of sources", _nothing(text))
    rows = [data_rows.source_row(source, view.site.zone) for source in view.sources]
    return sheet(
        "Clocks and lag of sources",
        grids.grid("data-sources", data_rows.SOURCE_COLUMNS, rows, "Sources, wrong clocks first"),
        _note(
            "Lag is arrival minus the time of the reading, over the newest readings that came "
            "live; spread is the range of its middle half. Beyond "
            f"{duration(SKEW_S)} of median, over {FEWEST_LAGS} readings or more, a clock counts as "
            "wrong."
        ),
    )


def _jobs(view: DataView) -> html.Section:
    if not view.jobs:
        text = (
            "No job ever ran. bondtrail run, or bondtrail analyse --every 60s, does them by itself."
        )
        return sheet("Jobs", _nothing(text))
    rows = [data_rows.job_row(job, view.site.zone, view.now) for job in view.jobs]
    return sheet(
        "Jobs",
        grids.grid("data-jobs", data_rows.JOB_COLUMNS, rows, "Jobs, failing ones first"),
    )


def _stations(view: DataView) -> html.Section:
    period = view.period
    if period is None:
        return sheet("Coverage of stations", _nothing("No day is judged yet: bondtrail analyse."))
    names = {station.id: station.name for station in view.site.stations}
    rows = [
        data_rows.station_row(line, view.site, names, station_url(line.station, period))
        for line in view.stations
    ]
    return sheet(
        "Coverage of stations",
        grids.grid("data-stations", data_rows.STATION_COLUMNS, rows, "Stations, least known first"),
        _note(
            f"Coverage is of {_days(period)}: the share of the recorded time in which it is known "
            "whether the station was bonded. Points are told as they stand now."
        ),
    )


def _days(period: Period) -> str:
    return f"{period}, {plural(period.days, 'day')} on the site's clock"


def _points(view: DataView) -> html.Section:
    pages = {station.id: station_url(station.id) for station in view.site.stations}
    is_still = view.is_still
    rows = [
        data_rows.point_row(line, view.site.zone, pages, is_still=is_still) for line in view.points
    ]
    shown = (
        grids.grid("data-points", data_rows.POINT_COLUMNS, rows, "Points, out of order first")
        if rows
        else _nothing("No point is in that state now.")
    )
    return sheet("Points", _choices(view), shown)


def _choices(view: DataView) -> html.Nav:
    """Return the states to choose from, each an address."""
    of = sum(view.states.values())
    chips = [_chip(view, f"All {of:,}", None)]
    for state in PointState:
        if view.states[state] or state is view.show:
            word = str(state)[0].upper() + str(state)[1:]
            chips.append(_chip(view, f"{word} {view.states[state]:,}", state))
    return html.Nav(chips, className="filters", **aria("Points by state"))


def _chip(view: DataView, text: str, state: PointState | None) -> dcc.Link:
    chosen = " is-chosen" if state is view.show else ""
    is_whole = view.period == view.whole
    period = None if is_whole else view.period
    return dcc.Link(text, href=data_url(period, _shown(state)), className=f"chip{chosen}")


def _rejects(view: DataView) -> html.Section:
    if not view.rejects:
        return sheet("Not taken", _nothing("All that came in was taken."))
    rows = [data_rows.reject_row(reject, view.site.zone) for reject in view.rejects]
    is_all = len(rows) < REJECTS
    listed = "" if is_all else f"The newest {REJECTS}. All of them: bondtrail show rejects. "
    return sheet(
        "Not taken",
        grids.grid("data-rejects", data_rows.REJECT_COLUMNS, rows, "Rejected rows, newest first"),
        _note(f"{listed}The rest of each file or message was taken."),
    )


def _note(text: str) -> html.P:
    return html.P(text, className="note")


def _nothing(text: str) -> html.P:
    return html.P(text, className="inline-state")
