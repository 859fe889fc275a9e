"""Shifts: named stretches of the day on the site's own clock."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@dataclass(frozen=True, slots=True)
class Shift:
    """A shift that begins on some weekdays and ends within 24 hours, past midnight or not.

    Attributes
    ----------
    name : str
        Not empty: the empty name stands for the time outside any shift.
    begin, end : time
        On the site's clock. An ``end`` at or before ``begin`` is on the next day.
    days : frozenset of int
        The weekdays on which it begins, Monday being 0.
    """

    name: str
    begin: dt.time
    end: dt.time
    days: frozenset[int] = frozenset(range(7))
