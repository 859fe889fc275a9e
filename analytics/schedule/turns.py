"""When a job's turn has come: by what the store says of its last run, whoever did that."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from bondtrail.running import Job
from bondtrail.times import NS_PER_S, local, nanoseconds
from bondtrail.watching import is_running

LONGEST_WAIT_S = 3600.0
"""After many failures in a row. [s]"""
EARLY = 0.75
"""Of its interval after which a job is due again: clocks tick unevenly, and of two processes that
share a store the second must find the work done."""


def is_due(last: Job | None, every_s: float, now: int) -> bool:
    """Tell whether a job that is done all the time is due.

    Parameters
    ----------
    last : Job or None
        How its last run went; None where there was none. One that never ended is due again: only
        who has the job asks.
    every_s : float
        How often it is done. [s]
    now : int
        The clock; where it was set back behind the last run, the job is due. [ns]
    """
    if last is None or last.started is None or is_running(last):
        return True
    return not 0 <= now - last.started < EARLY * nanoseconds(every_s)


def is_due_today(last: Job | None, at: dt.time, zone: ZoneInfo, now: int) -> bool:
    """Tell whether a job of every day is due: not done well since its hour last came.

    So one that was missed, because the machine slept or the job failed, is made up for.

    Parameters
    ----------
    last : Job or None
        How its last run went.
    at : time
        Its hour, on the clock of the site.
    zone : ZoneInfo
        Of the site.
    now : int
        The clock. [ns]
    """
    if last is None or last.succeeded is None:
        return True
    return not latest(at, zone, now) <= last.succeeded <= now


def latest(at: dt.time, zone: ZoneInfo, now: int) -> int:
    """Return when a time of the day last came on the clock of a site. [ns]"""
    day = local(now, zone).date()
    moment = _moment(day, at, zone)
    return moment if moment <= now else _moment(day - dt.timedelta(days=1), at, zone)


def _moment(day: dt.date, at: dt.time, zone: ZoneInfo) -> int:
    return int(dt.datetime.combine(day, at, zone).timestamp()) * NS_PER_S


def held_until(last: Job | None, every_s: float, since: int) -> int:
    """Return until when a job that fails is let be: twice as long each time, an hour at most.

    Parameters
    ----------
    last : Job or None
        How its last run went.
    every_s : float
        How often it is done when all is well. [s]
    since : int
        Since when this process runs. What failed before is tried at once: whoever starts a
        process anew has changed something. [ns]

    Returns
    -------
    int
        In ns; long ago where nothing holds it.
    """
    if last is None or not last.failures or last.ended is None or last.ended < since:
        return 0
    wait_s = min(every_s * 2.0 ** min(last.failures - 1, 30), LONGEST_WAIT_S)
    return last.ended + nanoseconds(wait_s)
