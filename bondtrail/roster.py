"""Shifts: named stretches of the day on the site's own clock."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal

Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
WEEKDAYS: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


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


def shared_days(a: Shift, b: Shift) -> list[int]:
    """Return the weekdays, Monday being 0, on which both shifts are on at the same minute."""
    shared = _week(a) & _week(b)
    return [day for day in range(7) if shared >> day * _DAY & ((1 << _DAY) - 1)]


_DAY = 24 * 60
_WEEK = 7 * _DAY


def _week(shift: Shift) -> int:
    """Return the week's minutes in which a shift is on, a bit each, from Monday's first one."""
    begin, end = (at.hour * 60 + at.minute for at in (shift.begin, shift.end))
    on = (1 << (end - begin if end > begin else end - begin + _DAY)) - 1
    week = 0
    for day in shift.days:
        week |= on << day * _DAY + begin
    return week & ((1 << _WEEK) - 1) | week >> _WEEK  # Sunday's night ends on Monday
