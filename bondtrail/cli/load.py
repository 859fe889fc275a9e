"""``bondtrail load``: files of readings, work windows and tickets into the store."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import click

from bondtrail.cli import opening, output
from bondtrail.cli.faults import Fault, print_warning
from bondtrail.cli.options import db_option, example, holds_from_option, site_option
from bondtrail.cli.progress import shown_progress
from bondtrail.settings import SITE_VARIABLE, hide_password

if TYPE_CHECKING:
    from ingest import FileReport, LoadReport, Progress
    from store import Store, Touch

DONE_WITH_REJECTS = 3


@click.command("load", epilog=example("bondtrail load readings-*.csv.gz work.csv --site site.toml"))
@click.argument("paths", nargs=-1, required=True, metavar="PATH...")
@click.option(
    "--zone",
    metavar="NAME",
    help="Zone of times that have no offset, such as Europe/Lisbon. Without it they are rejected.",
)
@site_option
@holds_from_option
@db_option
@click.pass_context
def command(
    ctx: click.Context,
    paths: Sequence[str],
    zone: str | None,
    site_file: Path | None,
    holds_from: str | None,
    db: str,
) -> None:
    """Load CSV or Parquet files into the store.

    PATH is a file, a pattern in quotes, or - for standard input. Readings are time,tag,value
    [,quality] or one column a tag; work.csv holds work windows and batch.csv transfer tickets.
    Plain, .gz or .zst; the header tells what a file is. Loading a file again changes nothing.

    Rows that cannot be taken are kept with the reason: see bondtrail show rejects. The exit
    status is 3 when there were any.
    """
    from ingest import load_files
    from store import open_store

    given = opening.given_site(site_file)
    local = given_zone(zone)
    now = opening.clock_ns()
    since = opening.holding_moment(holds_from, given, now)
    if given is None and opening.is_missing(db):
        raise Fault(
            f"no site file, and no store at {hide_password(db)} that would have one",
            f"Say what the tags mean: --site FILE, or {SITE_VARIABLE}.",
        )
    with open_store(db) as store:
        site = opening.settle_site(store, given, now, since)
        before, late = store.touched(), _late(store)
        with file_progress() as step, _told_when_stopped():
            report = load_files(
                store, site, paths, zone=local, now=now, clock=opening.clock_ns, progress=step
            )
        changed = _changed_limits(store, before)
        late = _late(store) - late
    print_report(report)
    if late:
        print_warning(
            f"{output.counted(late, 'reading')} of times of which retention has removed others: "
            "not judged, and kept until the next removal\n"
            "  To keep them longer, place a hold first: bondtrail evidence --hold"
        )
    if changed not in (None, now):  # of a file that came just now it was said already
        print_warning(
            f"what began before {output.site_time(changed, site.zone)} ({site.timezone}) is judged "
            f"by the limits of its day\n{opening.REMEDY}"
        )
    if not report.is_clean:
        ctx.exit(DONE_WITH_REJECTS)


def _late(store: Store) -> int:
    """Return how many readings came for times before where stations are judged from."""
    return sum(floor.late for floor in store.floors().values())


def _changed_limits(store: Store, before: Mapping[str, Touch]) -> int | None:
    """Return when the present limits began at stations with something older to judge, in ns.

    ``before`` are the marks before a load: only what that touched counts. None if there is none.
    """
    from analytics.epochs import epochs_of
    from analytics.site_files import stored_sites

    touched = [(name, mark) for name, mark in store.touched().items() if mark != before.get(name)]
    sites = stored_sites(store)
    begun = ((epoch.start, mark) for name, mark in touched for epoch in epochs_of(name, sites)[-1:])
    return max((start for start, mark in begun if mark.since < start), default=None)


@contextmanager
def _told_when_stopped() -> Iterator[None]:
    try:
        yield
    except KeyboardInterrupt:
        print_warning(
            "stopped; what is committed so far is kept\n  The same command again loads the rest."
        )
        raise


@contextmanager
def file_progress() -> Iterator[Callable[[Progress], None] | None]:
    """Yield what `load_files` calls as it goes on; None where no person is watching."""
    with shown_progress(in_bytes=True) as step:
        yield step and (lambda at: step(at.read_bytes, at.total_bytes, at.file))


def given_zone(name: str | None) -> ZoneInfo | None:
    """Return the zone of ``--zone``.

    Raises
    ------
    Fault
        If there is none of that name.
    """
    if name is None:
        return None
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as exc:
        raise Fault(f"--zone {name!r}: no such zone", "Such as Europe/Lisbon or UTC.") from exc


def print_report(report: LoadReport) -> None:
    """Print what each file held, the total if there are several, and what went wrong."""
    rows = [_counts(file.name, file) for file in report.files if file.error is None]
    if len(rows) > 1:
        rows.append(_counts("total", report))
    columns = [
        output.Column("File", itemgetter(0), wraps=True),
        *(output.Column(head, itemgetter(n), right=True) for n, head in enumerate(_COUNTS, 1)),
    ]
    output.print_table("Loaded", columns, rows, _notes(report))
    for file in report.errors:
        print_warning(f"{file.name} was not loaded: {file.error}")
    if report.rejected:
        print_warning(
            f"{output.counted(report.rejected, 'row')} not taken, see: bondtrail show rejects"
        )


_COUNTS = ("Read", "New", "Repeated", "Replaced", "Rejected")


def _counts(name: str, report: FileReport | LoadReport) -> tuple[str, ...]:
    return (name, *(output.amount(getattr(report, head.lower())) for head in _COUNTS))


def _notes(report: LoadReport) -> Iterator[str]:
    for file in report.files:
        if file.is_repeat:
            yield f"{file.name} was loaded before: nothing changed."
        yield from (f"{file.name}: {note}" for note in file.notes)
