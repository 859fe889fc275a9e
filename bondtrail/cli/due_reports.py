"""Reports by the calendar: writing what the site file's ``[[report]]`` tables call for."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

import click

from bondtrail.cli import opening, output
from bondtrail.cli.faults import Fault, print_fault, translated
from bondtrail.cli.stopping import told_to_stop
from bondtrail.times import local

if TYPE_CHECKING:
    from analytics.reports.writing_due import DueReports
    from bondtrail.site import Site
    from store import Store

NOTHING_DONE, NOT_ALL = 2, 3


def planned_site(store: Store) -> Site:
    """Return the site file in force, which must call for a report.

    Raises
    ------
    Fault
        If it does not, or there is none.
    """
    site = opening.needed_site(store)
    if not site.reports:
        raise Fault(
            "the site file calls for no report",
            'Add a [[report]] table to it, such as every = "weekly", folder = "reports", and give '
            "it to bondtrail analyse --site FILE.",
        )
    return site


def write_once(db: str) -> None:
    """Write what is due and end; 2 where none of it could be written, 3 where some could not."""
    with opening.existing_store(db) as store:
        site = planned_site(store)
        found = _write_due(store, site)
    if not found.written and not found.failed:
        print("No report is due: those of the latest periods with readings are there.")
    if found.failed:
        raise click.exceptions.Exit(NOT_ALL if found.written else NOTHING_DONE)


def stay(db: str) -> None:
    """Write what is due, now and every hour, until SIGTERM or Ctrl-C.

    A report that is being written then is finished.
    """
    from analytics.reports.schedule import hourly

    with opening.existing_store(db) as store:
        site = planned_site(store)
    now = local(opening.clock_ns(), site.zone)
    with told_to_stop() as stop:
        scheduler = hourly(lambda: _look(db, stop), site.zone, now=now)
        scheduler.start()
        plans = output.counted(len(site.reports), "report")
        print(f"Looking every hour whether one of {plans} is due (Ctrl-C ends it)", flush=True)
        stop.wait()
        scheduler.shutdown()
    print("Stopped.")


def _look(db: str, stop: threading.Event | None = None) -> None:
    """Write what is due; whatever fails is told, and looked at again in an hour."""
    try:
        with opening.existing_store(db) as store:
            _write_due(store, opening.needed_site(store), stop)
    except Exception as exc:
        _tell("reports", exc)


def _write_due(store: Store, site: Site, stop: threading.Event | None = None) -> DueReports:
    """Write one report after the other, no further one once ``stop`` is set."""
    from analytics.reports.writing_due import write_due

    return write_due(
        store,
        site,
        now=opening.clock_ns(),
        is_stopping=stop.is_set if stop else lambda: False,
        on_written=lambda path: print(f"Wrote {path}", flush=True),
        on_failed=lambda path, exc: _tell(str(path), exc),
    )


def _tell(what: str, exc: Exception) -> None:
    """Say on standard error what failed and why."""
    fault = _fault(exc)
    told = fault.format_message() if fault else f"{type(exc).__name__}: {exc}"
    print_fault(Fault(f"{what} not written: {told}", getattr(fault, "remedy", "")))


def _fault(exc: Exception) -> click.ClickException | None:
    from analytics.reports.writing_due import ResultsBehindError

    if isinstance(exc, ResultsBehindError):
        return Fault(str(exc), "bondtrail analyse")
    return exc if isinstance(exc, click.ClickException) else translated(exc)
