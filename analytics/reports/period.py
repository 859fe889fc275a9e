"""Periods of a report: whole days of the site, and the weeks and months that are over."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from bondtrail.times import day_start

ONE_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Period:
    """Days of the site's calendar from ``first`` up to ``end``, which is not included."""

    first: dt.date
    end: dt.date

    @property
    def last(self) -> dt.date:
        """The last day that belongs to it."""
        return self.end - ONE_DAY

    @property
    def days(self) -> int:
        """How many days."""
        return (self.end - self.first).days

    def bounds(self, zone: ZoneInfo) -> tuple[int, int]:
        """Return the half-open span on the clock of the site. [ns]"""
        return day_start(self.first, zone), day_start(self.end, zone)

    @property
    def label(self) -> str:
        """What it is called in a file name: ``2026-w13``, ``2026-03`` or both of its ends."""
        if self == week_of(self.first):
            year, week, _ = self.first.isocalendar()
            return f"{year}-w{week:02}"
        if self == month_of(self.first):
            return f"{self.first:%Y-%m}"
        return f"{self.first}-to-{self.last}"

    def __str__(self) -> str:
        return str(self.first) if self.days == 1 else f"{self.first} to {self.last}"


def week_of(day: dt.date) -> Period:
    """Return the ISO week that holds a day."""
    monday = day - day.weekday() * ONE_DAY
    return Period(monday, monday + 7 * ONE_DAY)


def month_of(day: dt.date) -> Period:
    """Return the calendar month that holds a day."""
    first = day.replace(day=1)
    return Period(first, (first + 31 * ONE_DAY).replace(day=1))


def file_name(site_id: str, period: Period, suffix: str) -> str:
    """Return the name of a period's report, such as ``compliance-alder-quay-2026-w13.html``.

    ``suffix`` is what the name ends with, without its dot.
    """
    return f"compliance-{site_id}-{period.label}.{suffix}"


def latest_week(today: dt.date) -> Period:
    """Return the last ISO week that was over before ``today``."""
    return week_of(today - 7 * ONE_DAY)


def latest_month(today: dt.date) -> Period:
    """Return the last calendar month that was over before ``today``."""
    return month_of(today.replace(day=1) - ONE_DAY)
