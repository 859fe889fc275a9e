"""Reports by the calendar: what is due, and a clock that looks every hour whether something is.

A report is due when its week or month is over and its file is not there. Looking for files and not
for moments makes up for whatever was missed: a machine that slept, a store that did not answer.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.cron import CronTrigger

from analytics.reports.period import Period, latest_month, latest_week
from bondtrail.site import ReportPlan

MINUTE = 5
"""Of the hour at which it looks; the last readings of a period take a moment to come in."""


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
    return Path(plan.folder) / f"compliance-{site_id}-{period.label}.{plan.format}"


def due(plans: Sequence[ReportPlan], site_id: str, today: dt.date) -> list[Due]:
    """Return the latest report of each plan if it is missing; two plans of one file are one."""
    wanted: dict[Path, Due] = {}
    for plan in plans:
        period = latest(plan, today)
        path = path_of(plan, site_id, period)
        if not path.exists():
            wanted.setdefault(path, Due(plan, period, path))
    return list(wanted.values())


def hourly(look: Callable[[], None], zone: ZoneInfo, *, now: dt.datetime) -> BackgroundScheduler:
    """Return a scheduler that looks at ``now``, and then every hour on the clock of the site.

    A look that comes late is not left out, and of several that were missed there is one.
    """
    scheduler = BackgroundScheduler(timezone=zone)
    scheduler.add_job(
        look,
        CronTrigger(minute=MINUTE, timezone=zone),
        next_run_time=now,
        misfire_grace_time=None,  # by default a second late is too late
        coalesce=True,
        max_instances=1,
    )
    return scheduler
