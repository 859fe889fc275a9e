"""A period: the site's calendar days from a first to a last one, both included."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from bondtrail.times import day_start

ONE_DAY = dt.timedelta(days=1)


class PeriodError(ValueError):
    """A period that cannot be understood, in words for the person who asked for it."""


@dataclass(frozen=True, slots=True)
class Period:
    """Days ``first`` to ``last`` of the site's calendar, both included."""

    first: dt.date
    last: dt.date

    @property
    def days(self) -> int:
        """How many days."""
        return (self.last - self.first).days + 1

    def bounds(self, zone: ZoneInfo) -> tuple[int, int]:
        """Return the half-open span in ns, on the clock of the site."""
        return day_start(self.first, zone), day_start(self.last + ONE_DAY, zone)

    def latest(self, days: int) -> Period:
        """Return the last so many days of it."""
        return Period(max(self.first, self.last - (days - 1) * ONE_DAY), self.last)

    def __str__(self) -> str:
        return f"{self.first} to {self.last}"


def parse_period(first: str | None, last: str | None, whole: Period) -> Period:
    """Return the period that an address asks for; an end that it leaves out is that of the whole.

    Raises
    ------
    PeriodError
        If a date is none, is out of range, or the first comes after the last.
    """
    period = Period(_date(first, whole.first), _date(last, whole.last))
    if period.first > period.last:
        raise PeriodError(f"The period begins on {period.first}, after its end on {period.last}.")
    return period


def _date(text: str | None, otherwise: dt.date) -> dt.date:
    if not text:
        return otherwise
    try:
        day = dt.date.fromisoformat(text)
    except (ValueError, TypeError):
        raise PeriodError(f"{text!r} is not a date. Write it as 2026-03-01.") from None
    if not 1970 <= day.year <= 9000:
        raise PeriodError(f"{text} is outside the years 1970 to 9000.")
    return day
