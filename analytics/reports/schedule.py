"""Reports by the calendar: what is due, and a clock that looks every hour whether something is.

A report is due when its week or month is over, something is on record by then, and its file is not
there. Looking for files and not for moments makes up for whatever was missed: a machine that slept
for some weeks, a store that did not answer.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.cron import CronTrigger

from analytics.clockwork import scheduler
from analytics.reports.period import Period, file_name, latest_month, latest_week
from bondtrail.site import ReportPlan

MINUTE = 5
"""Of the hour at which it looks; the last readings of a period take a moment to come in."""
MOST_MISSED = 8
"""So many of the latest periods of a plan are made up for, and none before them."""


@dataclass(frozen=True, slots=True)
class Due:
    """A report that should be there and is not."""

    plan: ReportPlan
    period: Period
    path: Path


def latest(plan: ReportPlan, today: dt.date) -> Period:
    """Return the last period of a plan that was over before ``today``."""
    return latest_week(today) if plan.every == "weekly" else latest_month(today)


def path_of(plan: ReportPlan, site_id: str, period: Period) -> Path:
    """Return the file of a period's report; a relative folder is that of where the command runs."""
    return Path(plan.folder) / file_name(site_id, period, plan.format)


def due(
    plans: Sequence[ReportPlan], site_id: str, today: dt.date, recorded: dt.date | None
) -> list[Due]:
    """Return the reports that are missing, by plan and the earliest first.

    Parameters
    ----------
    plans : sequence of ReportPlan
        Two that write one file are one.
    site_id : str
        Part of the names of the files.
    today : date
        Of the site.
    recorded : date or None
        The day of the first reading; no period that was over before it is due. None where there
        are no readings: nothing is.
    """
    wanted: dict[Path, Due] = {}
    for plan in plans:
        for period in _complete(plan, today, recorded):
            path = path_of(plan, site_id, period)
            if not path.exists():
                wanted.setdefault(path, Due(plan, period, path))
    return list(wanted.values())


def _complete(plan: ReportPlan, today: dt.date, recorded: dt.date | None) -> Iterator[Period]:
    """Yield the latest periods that are over, those that end after the first reading."""
    periods = [latest(plan, today)]
    while len(periods) < MOST_MISSED:
        periods.append(latest(plan, periods[-1].first))
    for period in reversed(periods):
        if recorded is not None and period.last >= recorded:
            yield period


def hourly(look: Callable[[], None], zone: ZoneInfo, *, now: dt.datetime) -> BackgroundScheduler:
    """Return a scheduler that looks at ``now``, and then every hour on the clock of the site.

    A look that comes late is not left out, and of several that were missed there is one.
    """
    clockwork = scheduler(zone)
    clockwork.add_job(look, CronTrigger(minute=MINUTE, timezone=zone), next_run_time=now)
    return clockwork
