"""Holes in the records: stations whose bond state is not known, and on which days."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

from bondtrail.site import Site, Station
from bondtrail.times import day_edges, days_from, seconds
from dashboard.period import ONE_DAY, Period
from store import Store

NAMED = 8
"""So many stations are named, those with the largest holes."""
DAYS_TOLD = 400
"""Of a longer period the days are not told: there are too many of them."""
MUCH_OF_A_DAY = 0.1
"""A day counts as missing when more than this share of it is not known."""
RANGES = 4


class Heard(Protocol):
    """What is told of a station's time: known, unknown and without a record. [s]"""

    @property
    def name(self) -> str:
        """Its id."""

    @property
    def station(self) -> Station | None:
        """What the site file says of it."""

    @property
    def unknown_s(self) -> float:
        """Time on record in which the bond state is not known."""

    @property
    def no_record_s(self) -> float:
        """Time without any record."""


@dataclass(frozen=True, slots=True)
class Hole:
    """What is not known of a station, and the days of which much is missing, in words."""

    name: str
    unknown_s: float
    no_record_s: float
    days: str


def largest_holes(
    store: Store, site: Site, period: Period, until: int, heard: Sequence[Heard]
) -> list[Hole]:
    """Return the largest holes, the largest first; nothing is missed after ``until`` (ns)."""
    largest = sorted(heard, key=lambda row: (-row.unknown_s - row.no_record_s, row.name))[:NAMED]
    days = _days(store, site, period, until, [row.name for row in largest])
    return [
        Hole(
            row.station.name if row.station else row.name,
            row.unknown_s,
            row.no_record_s,
            ranges(days.get(row.name, ())),
        )
        for row in largest
    ]


def _days(
    store: Store, site: Site, period: Period, until: int, stations: Sequence[str]
) -> dict[str, list[dt.date]]:
    """Return the days of which each station misses much."""
    if not stations or period.days > DAYS_TOLD:
        return {}
    days = days_from(period.first, period.last)
    edges = [min(edge, until) for edge in day_edges(days[0], days[-1], site.zone)]
    lengths = [seconds(b - a) for a, b in pairwise(edges)]
    known: dict[str, dict[int, float]] = defaultdict(dict)
    for mark in store.summaries.day_marks([*days, period.last + ONE_DAY], stations):
        known[mark.station][mark.part] = mark.known_s
    return {
        name: [
            day
            for n, day in enumerate(days)
            if lengths[n] - known[name].get(n, 0.0) > MUCH_OF_A_DAY * lengths[n]
        ]
        for name in stations
    }


def ranges(days: Sequence[dt.date]) -> str:
    """Return rising days in words, such as ``2 Mar 2026, 5 to 9 Mar 2026``."""
    found: list[list[dt.date]] = []
    for day in days:
        if found and day - found[-1][-1] == ONE_DAY:
            found[-1][1:] = [day]
        else:
            found.append([day])
    told = [_range(ends[0], ends[-1]) for ends in found[:RANGES]]
    more = len(found) - RANGES
    return ", ".join(told) + (f" and {more} more" if more > 0 else "")


def _range(first: dt.date, last: dt.date) -> str:
    if first == last:
        return _day(first)
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day} to {_day(last)}"
    return f"{_day(first)} to {_day(last)}"


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%b %Y}"
