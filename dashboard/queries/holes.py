"""Holes in the records as the board tells them: the largest, with the names of their stations."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from analytics.holes import Coverage, holes, ranges
from bondtrail.site import Site
from dashboard.period import Period
from store import Store

NAMED = 8
"""So many stations are named, those with the largest holes."""
DAYS_TOLD = 400
"""Of a longer period the days are not told: there are too many of them."""


@dataclass(frozen=True, slots=True)
class NamedHole:
    """What is not known of a station, and the days of which much is missing, in words."""

    name: str
    coverage: Coverage
    days: str


def largest_holes(
    store: Store, site: Site, period: Period, now: int, covered: Mapping[str, Coverage]
) -> list[NamedHole]:
    """Return the largest holes of stations, the largest first; nothing is missed after now (ns)."""
    days = period.first, period.last
    names = {station.id: station.name for station in site.stations}
    found = holes(store, site.zone, days, now, covered, NAMED, tell_days=period.days <= DAYS_TOLD)
    return [
        NamedHole(names.get(hole.station, hole.station), hole.coverage, ranges(hole.days))
        for hole in found
    ]
