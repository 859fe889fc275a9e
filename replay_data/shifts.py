"""The invented site's calendar: four weeks of local days, shifts and crews."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from random import Random
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("Europe/Lisbon")
FIRST = date(2026, 3, 9)
LAST = date(2026, 4, 5)
HOLIDAY = date(2026, 4, 3)
MINUTE = 60_000
HOUR = 60 * MINUTE


def at(day: date, clock: str) -> int:
    """Return the UTC milliseconds of a local time such as ``14:05`` or ``14:05:30``."""
    local = datetime.fromisoformat(f"{day.isoformat()}T{clock}").replace(tzinfo=ZONE)
    return round(local.timestamp()) * 1000


def march(day: int) -> date:
    """Return a day of March 2026."""
    return date(2026, 3, day)


def april(day: int) -> date:
    """Return a day of April 2026."""
    return date(2026, 4, day)


START = at(FIRST, "00:00")
END = at(LAST + timedelta(days=1), "00:00")
RECORDED_UNTIL = at(LAST, "22:55")
"""An hour early: what the last readings still vouch for ends within the last day."""


def days() -> Iterator[date]:
    """Yield the site's days."""
    return (FIRST + timedelta(days=n) for n in range((LAST - FIRST).days + 1))


def day(ms: int) -> date:
    """Return the local day that holds the moment."""
    return datetime.fromtimestamp(ms // 1000, ZONE).date()


def age(ms: int) -> float:
    """Return how far the four weeks have run, 0 to 1."""
    return (ms - START) / (END - START)


def load(day: date) -> float:
    """Return how busy the day is: 1 on a working day, 0 on a Sunday."""
    if day.weekday() == 6:
        return 0.0
    return 0.3 if day.weekday() == 5 or day == HOLIDAY else 1.0


def operator(ms: int, rng: Random) -> str:
    """Return who has the shift: the crews A to C change at 06:00, 14:00 and 22:00."""
    local = datetime.fromtimestamp(ms / 1000, ZONE)
    shift = ((local.hour - 6) % 24) // 8
    week = local.isocalendar().week
    crew = (shift + week) % 3
    return f"operator {2 * crew + rng.randint(1, 2)}"


def local_text(ms: int) -> str:
    """Return the moment on the site's clock with its offset, to the minute."""
    return datetime.fromtimestamp(ms // 1000, ZONE).isoformat(timespec="minutes")
