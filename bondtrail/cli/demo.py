"""``bondtrail demo``: the whole path on an invented site, from recorded readings to the board."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from bondtrail.cli import kpis, opening, output, tables
from bondtrail.cli.analyse import run_analysis
from bondtrail.cli.faults import Fault
from bondtrail.cli.load import file_progress
from bondtrail.cli.options import example
from bondtrail.cli.serve import serve_board
from bondtrail.cli.views import Query
from bondtrail.results import Finding, Kind, Severity, TripClass
from bondtrail.settings import hide_password

if TYPE_CHECKING:
    from analytics.kpis import KpiRow
    from bondtrail.site import Site
    from replay_data import DemoFiles
    from store import Store

DEMO_DB = "sqlite:///bondtrail-demo.db"
MOST_FINDINGS = 15
_SEVERITIES = list(Severity)
_KINDS = list(Kind)


@dataclass(frozen=True, slots=True)
class Worst:
    """The longest of the findings of one kind at one station, and how many there are."""

    finding: Finding
    count: int


@click.command("demo", epilog=example("bondtrail demo --no-serve"))
@click.option("--serve/--no-serve", default=True, help="Serve the board when all is printed.")
@click.option(
    "--db",
    metavar="URL",
    default=DEMO_DB,
    show_default=True,
    help="Store to keep it in; never that of a real site.",
)
def command(serve: bool, db: str) -> None:
    """Show what Bondtrail does, on four weeks of an invented site.

    Loads its readings, analyses them, prints its stations and the worst of what was found, and
    serves the board on a free port of this machine. A second run finds everything in place.
    """
    from bondtrail.site import load_site
    from replay_data import demo_files
    from store import open_store

    files = demo_files()
    site = load_site(files.site)
    with open_store(db) as store:
        _own(store, site, db)
        _load(store, site, files)
        run_analysis(store, opening.clock_ns())
        print_stations(store, site)
        print_worst(store, site, db)
    print(output.CAUTION)
    if serve:
        serve_board(db, "127.0.0.1", 0)


def _own(store: Store, site: Site, db: str) -> None:
    """Take the store for the demo, unless it holds something else.

    Raises
    ------
    Fault
        If it does.
    """
    present = opening.stored_site(store)
    if present is not None and present.text != site.text:
        raise Fault(
            f"{hide_password(db)} holds another site, or the demo of another version",
            "Name another store by --db, or remove that one if it is only the demo's.",
        )
    store.put_site(site, opening.FROM_THE_BEGINNING)


def _load(store: Store, site: Site, files: DemoFiles) -> None:
    from ingest import load_files

    paths = [str(path) for path in (*files.readings, files.work, files.batch)]
    with file_progress() as step:
        report = load_files(
            store, site, paths, now=opening.clock_ns(), clock=opening.clock_ns, progress=step
        )
    print(f"{site.name}: site, people and readings are made up.")
    print(
        f"Loaded {report.read:,} readings: {report.new:,} new, {report.repeated:,} there already."
    )


def print_stations(store: Store, site: Site) -> None:
    """Print the sums of each station, the worst first, in the order of the board."""
    severities: dict[str, Counter[Severity]] = defaultdict(Counter)
    for finding in store.findings():
        severities[finding.station][finding.severity] += 1
    names = {station.id: station.name for station in site.stations}
    rows = kpis.read(store, Query(site, opening.clock_ns()))
    rows.sort(key=lambda row: names[row.group])
    rows.sort(key=lambda row: _badness(row, severities[row.group]), reverse=True)
    print()
    notes = [kpis.OVERVIEW_NOTE, ""]
    output.print_table("Stations, four weeks", kpis.overview_columns(), rows, notes)


def _badness(row: KpiRow, severities: Counter[Severity]) -> tuple[int, int, int, int]:
    return (
        severities[Severity.CRITICAL],
        severities[Severity.MAJOR],
        row.count("trips", f"{TripClass.NUISANCE}/"),
        severities[Severity.MINOR],
    )


def print_worst(store: Store, site: Site, db: str) -> None:
    """Print the worst findings, one row for each kind at each station."""
    begins, severity, station, finding = tables.finding_columns(site.zone)
    count = output.Column[Worst]("Count", lambda row: str(row.count), right=True)
    columns = [*map(_of_worst, (begins, severity, station)), count, _of_worst(finding)]
    title = "Worst findings, the longest of each kind at each station"
    more = f"All of them: bondtrail show findings --db {hide_password(db)}"
    notes = [f"Times are {site.timezone}.", more, ""]
    output.print_table(title, columns, worst(store.findings())[:MOST_FINDINGS], notes)


def _of_worst(column: output.Column[Finding]) -> output.Column[Worst]:
    return output.Column(
        column.head, lambda row: column.cell(row.finding), column.right, column.wraps
    )


def worst(findings: list[Finding]) -> list[Worst]:
    """Return the longest finding of each kind at each station, the worst first.

    Of the severe ones the kind weighs most. Of the minor ones a drift comes first, which is one
    finding about weeks; of the others, how often they come.
    """
    counts = Counter((row.station, row.kind) for row in findings)
    longest: dict[tuple[str, Kind], Finding] = {}
    for row in findings:
        key = (row.station, row.kind)
        if key not in longest or row.seconds > longest[key].seconds:
            longest[key] = row
    found = [Worst(row, counts[key]) for key, row in longest.items()]
    return sorted(found, key=_rank)


def _rank(row: Worst) -> tuple[int, float, float, str]:
    finding = row.finding
    return (
        _SEVERITIES.index(finding.severity),
        _weight(row),
        -finding.seconds,
        finding.station,
    )


def _weight(row: Worst) -> float:
    """Return what a row is sorted by among those of its severity, least first."""
    if row.finding.kind is Kind.RESISTANCE_DRIFT:
        return -math.inf
    if row.finding.severity is Severity.MINOR:
        return -row.count
    return _KINDS.index(row.finding.kind)
