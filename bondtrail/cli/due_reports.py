"""Reports by the calendar: writing what the site file's ``[[report]]`` tables call for."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from bondtrail.cli import opening, output
from bondtrail.cli.faults import Fault, print_fault, translated
from bondtrail.times import local, local_day

if TYPE_CHECKING:
    from analytics.reports.schedule import Due
    from bondtrail.site import Site
    from store import Store

NOTHING_DONE, NOT_ALL = 2, 3


@dataclass(slots=True)
class Looked:
    """How many reports were written, and how many should have been and could not be."""

    written: int = 0
    failed: int = 0


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
    with _told_to_stop() as stop:
        scheduler = hourly(lambda: _look(db, stop), site.zone, now=now)
        scheduler.start()
        plans = output.counted(len(site.reports), "report")
        print(f"Looking every hour whether one of {plans} is due (Ctrl-C ends it)", flush=True)
        stop.wait()
        scheduler.shutdown()
    print("Stopped.")


@contextmanager
def _told_to_stop() -> Iterator[threading.Event]:
    """Yield what SIGTERM or SIGINT sets; a second one acts as it always does."""
    stop = threading.Event()
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT)}

    def restore() -> None:
        for number, handler in before.items():
            signal.signal(number, handler)

    def told(_number: int, _frame: Any) -> None:
        restore()
        stop.set()

    for number in before:
        signal.signal(number, told)
    try:
        yield stop
    finally:
        restore()


def _look(db: str, stop: threading.Event | None = None) -> None:
    """Write what is due; whatever fails is told, and looked at again in an hour."""
    try:
        with opening.existing_store(db) as store:
            _write_due(store, opening.needed_site(store), stop)
    except Exception as exc:
        _tell("reports", exc)


def _write_due(store: Store, site: Site, stop: threading.Event | None = None) -> Looked:
    """Write one report after the other, no further one once ``stop`` is set."""
    from analytics.reports.schedule import due

    now, found = opening.clock_ns(), Looked()
    first = min((point.first for point in store.points() if point.samples), default=None)
    recorded = None if first is None else local_day(first, site.zone)
    for item in due(site.reports, site.id, local_day(now, site.zone), recorded):
        if stop and stop.is_set():
            break
        try:
            _write(store, site, item, now)
            found.written += 1
        except Exception as exc:  # one report that fails must not keep the others from being made
            _tell(str(item.path), exc)
            found.failed += 1
    return found


def _write(store: Store, site: Site, item: Due, now: int) -> None:
    """Write a report, unless results of its period are still to come.

    Raises
    ------
    Fault
        If they are: nobody would write it again once they are there.
    """
    from analytics.reports import gather, write_report

    end = item.period.bounds(site.zone)[1]
    behind = sum(mark.since < end for mark in store.waiting().values())
    if behind:
        raise Fault(
            f"results of {output.counted(behind, 'station')} are not up to date",
            "bondtrail analyse",
        )
    report = gather(store, site, item.period, now=now, by=item.plan.by)
    item.path.parent.mkdir(parents=True, exist_ok=True)
    write_report(report, item.path)
    print(f"Wrote {item.path}", flush=True)


def _tell(what: str, exc: Exception) -> None:
    """Say on standard error what failed and why."""
    fault = exc if isinstance(exc, click.ClickException) else translated(exc)
    told = fault.format_message() if fault else f"{type(exc).__name__}: {exc}"
    print_fault(Fault(f"{what} not written: {told}", getattr(fault, "remedy", "")))
