"""Writing the reports that are due, one after the other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from analytics.core.alarm_wording import counted
from analytics.reports.gather import gather
from analytics.reports.schedule import Due, due
from analytics.reports.writing import write_report
from bondtrail.site import Site
from bondtrail.times import local_day
from store import Store


class ResultsBehindError(Exception):
    """Results of a period are still to come; `stations` says of how many stations.

    Nobody would write its report again once they are there.
    """

    def __init__(self, stations: int) -> None:
        self.stations = stations
        super().__init__(f"results of {counted(stations, 'station')} are not up to date")


@dataclass(slots=True)
class DueReports:
    """Which reports were written, and which should have been and could not be, with the reason."""

    written: list[Path] = field(default_factory=list)
    failed: list[tuple[Path, Exception]] = field(default_factory=list)


def write_due(
    store: Store,
    site: Site,
    *,
    now: int,
    is_stopping: Callable[[], bool] = lambda: False,
    on_written: Callable[[Path], None] = lambda path: None,
    on_failed: Callable[[Path, Exception], None] = lambda path, exc: None,
) -> DueReports:
    """Write the reports that are missing; one that fails does not keep the others from it.

    Parameters
    ----------
    store : Store
        With the results of an analysis.
    site : Site
        The site file in force, with its plans.
    now : int
        The clock. [ns]
    is_stopping : callable
        No further report is begun once it is true.
    on_written, on_failed : callable
        Told of each at once.

    Returns
    -------
    DueReports
        In the order in which they were due.
    """
    found = DueReports()
    first = min((point.first for point in store.points() if point.samples), default=None)
    recorded = None if first is None else local_day(first, site.zone)
    for item in due(site.reports, site.id, local_day(now, site.zone), recorded):
        if is_stopping():
            break
        try:
            _write(store, site, item, now)
        except Exception as exc:
            found.failed.append((item.path, exc))
            on_failed(item.path, exc)
        else:
            found.written.append(item.path)
            on_written(item.path)
    return found


def _write(store: Store, site: Site, item: Due, now: int) -> None:
    end = item.period.bounds(site.zone)[1]
    behind = sum(mark.since < end for mark in store.waiting().values())
    if behind:
        raise ResultsBehindError(behind)
    report = gather(store, site, item.period, now=now, by=item.plan.by)
    item.path.parent.mkdir(parents=True, exist_ok=True)
    write_report(report, item.path)
