"""``bondtrail analyse``: bring transfers, findings and sums up to date with the readings."""

from __future__ import annotations

from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bondtrail.cli import opening, output
from bondtrail.cli.faults import print_warning
from bondtrail.cli.health import answering, health_option
from bondtrail.cli.listen import site_settler
from bondtrail.cli.options import db_option, example, holds_from_option, site_option
from bondtrail.cli.parts import Part, end_of, run_together
from bondtrail.cli.progress import shown_progress
from bondtrail.cli.schedule import Every, jobs_of, readiness, refuse_missing, wait_for_store
from bondtrail.cli.stopping import told_to_stop

ONE_OFF = (
    "By the present limits this once: the next plain bondtrail analyse judges all history by the\n"
    "limits of its day again. Until then these results are called not up to date."
)

if TYPE_CHECKING:
    from analytics.runs import AnalysisReport
    from bondtrail.site import Site
    from store import Store


@click.command(
    "analyse",
    epilog=example(
        "bondtrail analyse",
        "bondtrail analyse --by-present-limits",
        "bondtrail analyse --every 60s --db postgresql://bondtrail@db/bondtrail",
    ),
)
@click.option(
    "--every",
    "every_s",
    type=Every(),
    metavar="TIME",
    help="Go on running: judge what is new so often, such as 60s, and do what else a store needs "
    "by the clock, until SIGTERM or Ctrl-C.",
)
@click.option(
    "--all", "everything", is_flag=True, help="From the beginning, not just what new data touched."
)
@click.option(
    "--by-present-limits",
    is_flag=True,
    help="Judge all history by the site file of today, not by the one of its day. This once: the "
    "next plain analyse judges all of it by the limits of its day again.",
)
@health_option
@site_option
@holds_from_option
@db_option
def command(
    every_s: float | None,
    everything: bool,
    by_present_limits: bool,
    health: str,
    site_file: Path | None,
    holds_from: str | None,
    db: str,
) -> None:
    """Judge the readings by the rules and store what they show.

    Only what new readings touched is judged again; the outcome is the same as judging all of it.

    A changed site file holds from the first load or analyse that brings it, or from --holds-from;
    what began before it is judged by the file of its day.

    With --every it stays: docs/service.md says what it then does, and when. A database that is
    away is waited for.
    """
    given = opening.given_site(site_file)
    now = opening.clock_ns()
    since = opening.holding_moment(holds_from, given, now)
    if every_s is not None:
        if everything or by_present_limits:
            raise click.UsageError("--every judges what is new: run the other one by itself before")
        stay(db, given, since, every_s, health)
        return
    with opening.existing_store(db) as store:
        opening.settle_site(store, given, now, since)
        report = run_analysis(
            store,
            now,
            # Half of a history by the limits of its day and half by those of today is neither.
            everything=everything or by_present_limits,
            by_present_limits=by_present_limits,
        )
        one_off = by_present_limits and len(store.sites()) > 1
    print_report(report)
    if one_off and report.stations:
        print(ONE_OFF)


def stay(db: str, given: Site | None, since: int | None, every_s: float, health: str) -> None:
    """Judge what is new every so often, and keep the rest of the schedule, until told to stop."""
    from bondtrail.logs import log_plainly
    from bondtrail.metrics import Metrics

    if given is None:
        refuse_missing(db)
    log_plainly()
    metrics = Metrics()
    jobs = jobs_of(db, metrics, every_s)
    died = None
    with (
        told_to_stop() as stop,
        answering(health, {"schedule": jobs.alive}, readiness(jobs), metrics),
    ):
        if wait_for_store(site_settler(db, given, since), stop):
            print(f"Judging what is new every {every_s:g} s (Ctrl-C ends it)", flush=True)
            died = run_together([Part("the schedule", jobs.keep)], stop)
    end_of(died)
    print("Stopped.", flush=True)


def run_analysis(
    store: Store, now: int, *, everything: bool = False, by_present_limits: bool = False
) -> AnalysisReport:
    """Bring results up to date, with progress on a terminal; ``now`` is in ns."""
    from analytics.runs import analyse

    total = len(opening.needed_site(store).stations if everything else store.touched())
    done = count()
    with shown_progress() as step:
        return analyse(
            store,
            now=now,
            everything=everything,
            by_present_limits=by_present_limits,
            progress=step and (lambda station: step(next(done), total, station)),
        )


def print_report(report: AnalysisReport) -> None:
    """Print how much was judged, and what could not be read."""
    for damage in report.damaged:
        print_warning(f"not judged: {damage}")
    if not report.stations:
        print("Nothing new to judge.")
        return
    stations = output.counted(report.stations, "station")
    print(f"Judged {stations}: {output.counted(report.findings, 'finding')} in what was judged.")
    print("See: bondtrail show findings")
    print(output.CAUTION)
