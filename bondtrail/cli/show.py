"""``bondtrail show``: what the store and the last analysis hold, for people and programs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, TypeVar

import click

from bondtrail import objects
from bondtrail.cli import alarms, drift, kpis, opening, output, rows, tables, trends, wear
from bondtrail.cli.options import db_option, example, format_option
from bondtrail.cli.views import SPAN, Query, View
from bondtrail.results import (
    Hookup,
    HookupCause,
    Kind,
    Outcome,
    Reject,
    Transfer,
    Trip,
    TripCause,
    TripClass,
)
from bondtrail.times import seconds

if TYPE_CHECKING:
    from bondtrail.site import Site
    from store import Store

Row = TypeVar("Row")


def _findings(store: Store, query: Query) -> list[rows.ReviewedFinding]:
    found = store.findings(**query.span)
    wanted = [row for row in found if not query.kinds or str(row.kind) in query.kinds]
    wanted.sort(key=lambda row: (row.start, row.station, str(row.kind)))
    reviews = store.reviews.current(wanted)
    states = {finding: review.state for finding, review in reviews.items()}
    return [rows.ReviewedFinding(row, states.get(row.id)) for row in wanted]


def _transfers(store: Store, query: Query) -> list[Transfer]:
    return sorted(store.transfers(**query.span), key=lambda row: (row.start, row.station))


def _hookups(store: Store, query: Query) -> list[Hookup]:
    found = store.hookups(**query.span)
    wanted = [row for row in found if not query.kinds or query.kinds & _hookup_kinds(row)]
    return sorted(wanted, key=lambda row: (row.start, row.station))


def _hookup_kinds(row: Hookup) -> set[str]:
    return {str(row.outcome), str(row.cause)}


def _trips(store: Store, query: Query) -> list[Trip]:
    found = store.trips(**query.span)
    wanted = [row for row in found if not query.kinds or query.kinds & _trip_kinds(row)]
    return sorted(wanted, key=lambda row: (row.time, row.station))


def _trip_kinds(row: Trip) -> set[str]:
    return {str(row.trip_class), str(row.cause)}


def point_rows(store: Store, site: Site, now: int) -> list[rows.PointRow]:
    """Return every point of the site file and of the store, in the site file's order."""
    held = {summary.point: summary for summary in store.points()}
    named = [point.name for point in site.points()]
    return [
        _point_row(name, held.get(name), now)
        for name in [*named, *sorted(held.keys() - set(named))]
    ]


def _point_row(name: str, held: Any, now: int) -> rows.PointRow:
    station, _, role = name.rpartition(".")
    if held is None:
        return rows.PointRow(name, station, role, 0)
    age_s = round(seconds(now - held.last), 3)
    return rows.PointRow(
        name, station, role, held.samples, held.first, held.last, held.value, held.quality, age_s
    )


def _points(store: Store, query: Query) -> list[rows.PointRow]:
    found = point_rows(store, query.site, query.now)
    return [row for row in found if query.station in (None, row.station)]


def _rejects(store: Store, query: Query) -> list[Reject]:
    found = store.rejects(start=query.start, end=query.end)
    return sorted(found, key=lambda row: (row.last_at or row.at, row.source))


VIEWS: Mapping[str, View[Any]] = {
    "findings": View(
        _findings,
        lambda _: rows.REVIEWED_FINDING,
        lambda query: tables.reviewed_finding_columns(query.zone),
        SPAN | {"kinds"},
        tuple(Kind),
    ),
    "transfers": View(
        _transfers,
        lambda _: objects.TRANSFER,
        lambda query: tables.transfer_columns(query.zone),
        SPAN,
        notes=(tables.TRANSFER_NOTE, output.CAUTION),
    ),
    "hookups": View(
        _hookups,
        lambda _: objects.HOOKUP,
        lambda query: tables.hookup_columns(query.zone),
        SPAN | {"kinds"},
        (*Outcome, *HookupCause),
    ),
    "trips": View(
        _trips,
        lambda _: objects.TRIP,
        lambda query: tables.trip_columns(query.zone),
        SPAN | {"kinds"},
        (*TripClass, *TripCause),
    ),
    "kpis": kpis.VIEW,
    "alarms": alarms.VIEW,
    "trends": trends.VIEW,
    "drift": drift.VIEW,
    "wear": wear.VIEW,
    "points": View(
        _points,
        lambda _: rows.POINT,
        lambda query: tables.point_columns(query.zone),
        frozenset({"station"}),
        notes=("Contacts are 0 or 1, resistances in ohm, flow in L/min or kg/min.",),
        judged=False,
    ),
    "rejects": View(
        _rejects,
        lambda _: rows.REJECT,
        lambda query: tables.reject_columns(query.zone),
        frozenset({"start", "end"}),
        notes=("--format json has the raw text of each.",),
        judged=False,
    ),
}

_OPTION = {
    "station": "--station",
    "start": "--from",
    "end": "--to",
    "kinds": "--kind",
    "by": "--by",
    "per": "--per",
    "area": "--area",
    "shift": "--shift",
    "by_shift": "--by-shift",
    "interval": "--interval",
    "position": "--position",
    "listed": "--list",
    "confidence": "--confidence",
    "ends_with_trip": "--ends-with-trip",
}


@click.command(
    "show",
    epilog=example(
        "bondtrail show findings --station rail-1 --from 2026-03-01",
        "bondtrail show kpis --by week --format csv",
    ),
)
@click.argument("what", metavar="WHAT", type=click.Choice(list(VIEWS)))
@click.option("--station", metavar="ID", help="Only this station.")
@click.option("--from", "start", metavar="TIME", help="From here on; a day begins at midnight.")
@click.option("--to", "end", metavar="TIME", help="Up to here, not included.")
@click.option(
    "--kind",
    "kinds",
    metavar="KIND",
    multiple=True,
    help="Findings of this kind, hookups of this outcome or cause, trips of this class or cause. "
    "May be given several times.",
)
@click.option("--by", type=click.Choice(kpis.STEPS), help="kpis: a row for each period.")
@click.option("--per", type=click.Choice(kpis.GROUPS), help="kpis: what a row is about.")
@click.option("--area", metavar="NAME", help="kpis: only the stations of this area.")
@click.option("--shift", metavar="NAME", help="kpis: only the time of this shift.")
@click.option("--by-shift", is_flag=True, help="kpis: a row for each shift.")
@click.option(
    "--interval",
    type=click.Choice(list(kpis.INTERVALS)),
    help="kpis: of compliance and failed hookups; wilson unless given.",
)
@click.option("--position", metavar="NAME", help="alarms: only those of this operator position.")
@click.option("--list", "listed", is_flag=True, help="alarms: each of them, not their figures.")
@click.option(
    "--confidence",
    type=click.FloatRange(0, 100, min_open=True, max_open=True),
    metavar="PERCENT",
    help="trends: of the intervals; 95 unless given.",
)
@click.option(
    "--ends-with-trip",
    is_flag=True,
    help="trends: each station was watched until its last trip, not until a moment set beforehand.",
)
@format_option()
@db_option
def command(what: str, form: str, db: str, **asked: Any) -> None:
    """Print findings, transfers, sums and the like.

    WHAT is one of findings, transfers, hookups, trips, kpis, alarms, trends, drift, wear, points
    and rejects.

    A TIME without an offset is on the site's clock. Tables show site time; CSV and JSON show
    UTC. kpis are sums over whole days of the site.
    """
    view = VIEWS[what]
    _refuse_unused(what, view, asked)
    with opening.existing_store(db) as store:
        query = _query(store, asked)
        found = view.read(store, query)
        if view.judged:
            opening.warn_of_waiting(store)
    _print(what, view, found, query, form)


def _refuse_unused(what: str, view: View[Any], asked: Mapping[str, Any]) -> None:
    for name, value in asked.items():
        if (value or value == "") and name not in view.options:
            fitting = [other for other, has in VIEWS.items() if name in has.options]
            raise click.UsageError(
                f"{_OPTION[name]} does not go with {what}; it goes with {', '.join(fitting)}"
            )
    for kind in asked["kinds"]:
        if kind not in view.kinds:
            raise click.UsageError(f"--kind {kind!r}: for {what} one of {', '.join(view.kinds)}")


_SELECTING = SPAN | {"kinds"}


def _query(store: Store, asked: Mapping[str, Any]) -> Query:
    site = opening.needed_site(store)
    stations = {station.id for station in site.stations}
    start = opening.moment(asked["start"], site.zone, "--from")
    end = opening.moment(asked["end"], site.zone, "--to")
    if start is not None and end is not None and end <= start:
        raise click.UsageError("--to must be later than --from")
    return Query(
        site,
        opening.clock_ns(),
        opening.known_station(asked["station"], stations | store.readings().keys()),
        start,
        end,
        frozenset(asked["kinds"]),
        {name: asked[name] for name in asked.keys() - _SELECTING},
    )


def _print(what: str, view: View[Row], found: list[Row], query: Query, form: str) -> None:
    if form == "json":
        fields = view.fields(query)
        output.print_json(objects.as_object(fields, row) for row in found)
    elif form == "csv":
        fields = (view.flat or view.fields)(query)
        output.print_csv(list(fields), (objects.as_object(fields, row) for row in found))
    elif found:
        remarks = view.remarks(query, found) if view.remarks else ()
        notes = (f"Times are {query.zone.key}.", *remarks, *view.notes)
        title = view.title or what.capitalize()
        output.print_table(title, view.columns(query), found, notes)
    else:
        print(f"No {what}{_where(query)}.")


def _where(query: Query) -> str:
    narrowed = query.kinds or any(query.span.values()) or any(query.options.values())
    return " that fit" if narrowed else ""
