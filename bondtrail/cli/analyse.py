"""``bondtrail analyse``: bring transfers, findings and sums up to date with the readings."""

from __future__ import annotations

from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bondtrail.cli import opening, output
from bondtrail.cli.faults import print_warning
from bondtrail.cli.options import db_option, example, holds_from_option, site_option
from bondtrail.cli.progress import shown_progress

ONE_OFF = (
    "By the present limits this once: the next plain bondtrail analyse judges all history by the\n"
    "limits of its day again. Until then these results are called not up to date."
)

if TYPE_CHECKING:
    from analytics.runs import AnalysisReport
    from store import Store


@click.command(
    "analyse", epilog=example("bondtrail analyse", "bondtrail analyse --by-present-limits")
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
@site_option
@holds_from_option
@db_option
def command(
    everything: bool,
    by_present_limits: bool,
    site_file: Path | None,
    holds_from: str | None,
    db: str,
) -> None:
    """Judge the readings by the rules and store what they show.

    Only what new readings touched is judged again; the outcome is the same as judging all of it.

    A changed site file holds from the first load or analyse that brings it, or from --holds-from;
    what began before it is judged by the file of its day.
    """
    given = opening.given_site(site_file)
    now = opening.clock_ns()
    since = opening.holding_moment(holds_from, given, now)
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
