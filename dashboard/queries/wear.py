"""What the page of one station asks about wear: how trips add up, where resistance is heading."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.core.drift import Forecast, forecast, resistance_trends
from analytics.core.histories import history
from analytics.core.power_law import PowerLaw
from analytics.core.spans import Moments
from analytics.core.stretches import bonded
from analytics.core.trends import EventTrend, Verdict, pooled_trend
from analytics.trends import NS_PER_H, trip_trends
from bondtrail.site import Site, Station
from dashboard.figures.wear import Resistance
from dashboard.queries.sites import site_of_day
from store import Store

NOTHING_IN_SIGHT = Forecast(None, None, None)


@dataclass(frozen=True, slots=True, eq=False)
class TripsCourse:
    """The trips of a station in a period, and what they say of a trend.

    Times in ns, those of the trend in h. ``span`` is the part of the period that is on record.
    """

    times: Moments
    span: tuple[int, int]
    trend: EventTrend

    @property
    def fit(self) -> PowerLaw | None:
        """The power law to draw; none through too few trips."""
        return None if self.trend.verdict is Verdict.FEW else self.trend.power_law


def trips_course_of(store: Store, site: Site, station_id: str, start: int, end: int) -> TripsCourse:
    """Return how the trips of a station add up over what is on record of ``[start, end)``. [ns]

    Where it was hardly watched nothing is known of the whole of it.
    """
    found = trip_trends(store, site, start, end, station=station_id)
    span = (found[0].start, found[0].end) if found else (start, end)
    times = np.array([trip.time for trip in store.trips(station_id, *span)], np.int64)
    if found:
        return TripsCourse(times, span, found[0].trend)
    hours = ((times - start) / NS_PER_H).tolist()
    unknown = pooled_trend([history(hours, (end - start) / NS_PER_H)], known=0.0)
    return TripsCourse(times, span, unknown)


def resistance_of(store: Store, station: Station, period: tuple[int, int]) -> Resistance | None:
    """Return the bonded resistance of a station over its whole history, or None without any.

    The trend is judged over all of it, as findings are; ``period`` (ns) is what the page shows.
    """
    if station.is_fixed:
        return None
    hookups, work = store.hookups(station.id), store.work(station.id)
    found = bonded(hookups)
    if not len(found):
        return None
    trends = resistance_trends(hookups, work)
    limit_ohm = _limit(store, station, int(found.start[-1]))
    ahead = forecast(trends[-1], limit_ohm) if trends else NOTHING_IN_SIGHT
    return Resistance(found.start, found.ohm, trends, ahead, work, limit_ohm, period)


def _limit(store: Store, station: Station, moment: int) -> float:
    """Return the limit that held at a moment (ns)."""
    site: Site | None = site_of_day(store, moment)
    then = {row.id: row for row in site.stations} if site else {}
    return then.get(station.id, station).limits.limit_ohm
