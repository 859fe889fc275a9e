"""``bondtrail report``: a period's compliance report, once or by the calendar."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bondtrail.cli import due_reports, opening, output
from bondtrail.cli.faults import Fault, near, print_warning
from bondtrail.cli.options import db_option, example
from bondtrail.times import local_day

if TYPE_CHECKING:
    from analytics.kpis import By
    from analytics.reports import Period
    from bondtrail.site import Site

FORMATS = (".html", ".xlsx", ".csv", ".json")


@click.command(
    "report",
    epilog=example(
        "bondtrail report --out march.html --from 2026-03-01 --to 2026-04-01",
        "bondtrail report --out bays.xlsx --by week --area Bays",
        "bondtrail report --schedule",
    ),
)
@click.option("--from", "first", metavar="DAY", help="From this day of the site on.")
@click.option("--to", "end", metavar="DAY", help="Up to this day, not included.")
@click.option(
    "--by",
    type=click.Choice(["day", "week", "month"]),
    help="The figures of each station per period as well.",
)
@click.option("--station", "stations", metavar="ID", multiple=True, help="Only this station.")
@click.option("--area", "areas", metavar="NAME", multiple=True, help="Only this area.")
@click.option(
    "--out",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Where to: .html, .xlsx, .csv or .json. An earlier one is written over.",
)
@click.option(
    "--schedule",
    is_flag=True,
    help="Go on running, and write each report of the site file's [[report]] tables when its week "
    "or month is over.",
)
@click.option(
    "--due", is_flag=True, help="Write what --schedule would write now, and end: for cron."
)
@db_option
def command(
    first: str | None,
    end: str | None,
    by: By | None,
    stations: Sequence[str],
    areas: Sequence[str],
    out: Path | None,
    schedule: bool,
    due: bool,
    db: str,
) -> None:
    """Write a compliance report of a period.

    Without --from and --to it is about the last complete month. The name of FILE tells the
    format: one HTML page that prints to A4, a workbook, CSV (FILE is the summary, and each table
    is beside it), or JSON. Days are those of the site.

    --schedule and --due look for the latest 8 complete periods of each [[report]] table in its
    folder, from the first reading on, and write what is missing, once the results of that period
    are up to date: run bondtrail analyse before. To make a report again, remove its file.
    """
    if schedule and due:
        raise click.UsageError("--schedule goes on running and --due does not: name one of them")
    if schedule or due:
        _refuse({"--from": first, "--to": end, "--by": by, "--out": out})
        _refuse({"--station": stations, "--area": areas})
        if schedule:
            due_reports.stay(db)
        else:
            due_reports.write_once(db)
        return
    if out is None:
        raise click.UsageError("--out FILE is needed, or --schedule or --due")
    if out.suffix.lower() not in FORMATS:
        raise click.UsageError(f"--out {out}: the name must end with {', '.join(FORMATS)}")
    if not out.parent.is_dir():
        raise Fault(f"--out {out}: there is no folder {out.parent}", "Make it first.")
    _write(db, (first, end), by, (stations, areas), out)


def _refuse(given: Mapping[str, object]) -> None:
    for option, value in given.items():
        if value:
            raise click.UsageError(
                f"{option} does not go with --schedule or --due: the site file's [[report]] "
                "tables say what to write"
            )


def _write(
    db: str,
    days: tuple[str | None, str | None],
    by: By | None,
    whose: tuple[Sequence[str], Sequence[str]],
    out: Path,
) -> None:
    from analytics.reports import TooManyRowsError, gather, write_report

    now = opening.clock_ns()
    with opening.existing_store(db) as store:
        site = opening.needed_site(store)
        period = _period(*days, local_day(now, site.zone))
        wanted = _wanted(site, *whose)
        report = gather(store, site, period, now=now, by=by, stations=wanted)
    for caveat in report.cover.caveats:
        print_warning(caveat.text)
    try:
        written = write_report(report, out)
    except TooManyRowsError as exc:
        raise Fault(f"{out}: {exc}") from exc
    for path in written:
        print(f"Wrote {path}")
    print(output.CAUTION)


def _period(first: str | None, end: str | None, today: dt.date) -> Period:
    """Return the days asked for: the last complete month where nothing is said.

    Raises
    ------
    Fault
        If a day is none, or the period is empty or yet to come.
    """
    from analytics.reports import Period, latest_month

    if first is None:
        if end is not None:
            raise click.UsageError("--to goes with --from: they say which days")
        return latest_month(today)
    found = Period(_day(first, "--from"), today if end is None else _day(end, "--to"))
    if found.first >= found.end:
        upto = "today" if end is None else "--to"
        raise click.UsageError(f"--from must be before {upto}, which is not included: {first}")
    if found.first > today:
        raise Fault(f"--from: {first} is yet to come", "Take a day that has begun.")
    return found


def _day(text: str, option: str) -> dt.date:
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        raise Fault(
            f"{option}: {text!r} is not a day", "A report is about whole days: 2026-03-01."
        ) from None
    if not 1970 <= day.year <= 2200:
        raise Fault(f"{option}: {text} is outside the years 1970 to 2200")
    return day


def _wanted(site: Site, stations: Sequence[str], areas: Sequence[str]) -> Collection[str] | None:
    """Return the stations asked for by id and by area; None for all.

    Raises
    ------
    Fault
        If there is no such station or area.
    """
    if not stations and not areas:
        return None
    known = {row.id for row in site.stations}
    named = {row.area for row in site.stations if row.area}
    for station in stations:
        opening.known_station(station, known)
    for area in areas:
        if area not in named:
            raise Fault(f"no area {area!r}", near(area, named))
    return {row.id for row in site.stations if row.id in stations or row.area in areas}
