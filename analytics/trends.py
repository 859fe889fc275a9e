"""What gets worse: trips over time, resistance from hookup to hookup, and how long parts last."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.core.drift import (
    SOON_DAYS,
    Forecast,
    ResistanceTrend,
    Shape,
    failed_since,
    forecast,
    resistance_trends,
)
from analytics.core.life import Life, PartLife, lives_from_work, weibull_life
from analytics.core.mtbf import Mtbf, steady_mtbf
from analytics.core.replacements import Part
from analytics.core.trends import (
    EventTrend,
    History,
    MeanCumulative,
    history,
    mean_cumulative_function,
    pooled_trend,
)
from analytics.epochs import FOREVER, epochs_of, limits_at
from bondtrail.results import Hookup, Trip, WorkWindow
from bondtrail.site import Site, parse_site
from bondtrail.times import NS_PER_S

if TYPE_CHECKING:
    from store import Store

NS_PER_H = 3600 * NS_PER_S

LEAST_WATCHED_NS = NS_PER_H
"""A station with a shorter record says nothing of how its trips come."""

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class TripTrend:
    """The trips of one station over the time that it was watched, or of all of them together.

    Attributes
    ----------
    station : str or None
        None stands for the stations of the site, each counted from its own start.
    start, end : int
        Watched ``[start, end)``, by the calendar. Of all, the first start and the last end. [ns]
    trend : EventTrend
        Times are in h.
    mtbf : Mtbf
        As if trips came at a steady rate. [h]
    mcf : MeanCumulative or None
        Trips per station by its age, of all stations only. [h]
    confidence : float
        Of the intervals.
    """

    station: str | None
    start: int
    end: int
    trend: EventTrend
    mtbf: Mtbf
    mcf: MeanCumulative | None = None
    confidence: float = CONFIDENCE


def trip_trends(
    store: Store,
    site: Site,
    start: int | None = None,
    end: int | None = None,
    *,
    kinds: Collection[str] = (),
    station: str | None = None,
    confidence: float = CONFIDENCE,
) -> list[TripTrend]:
    """Return the trend of trips of all stations together, and of each by itself.

    Parameters
    ----------
    store : Store
        With the trips of an analysis.
    site : Site
        Fixed items of it do not trip, so they are left out.
    start, end : int, optional
        Watched from here to here, as far as the station's own readings go: what is not on record
        is not free of trips. All of them, unless given. [ns]
    kinds : collection of str
        Only trips of one of these classes or causes; empty: all.
    station : str, optional
        Only this one, and no row of all.
    confidence : float
        Of the intervals, above 0 and below 1.
    """
    moments: dict[str, list[int]] = defaultdict(list)
    for trip in store.trips(station, start, end):
        if not kinds or _kinds(trip) & set(kinds):
            moments[trip.station].append(trip.time)
    wanted = [row.id for row in site.stations if not row.is_fixed or row.id in moments]
    wanted += sorted(moments.keys() - set(wanted))
    spans = _watched(store, [name for name in wanted if station in (None, name)], start, end)
    own = {name: _history(moments[name], *span) for name, span in spans.items()}
    found = [_trip_trend(name, spans[name], [own[name]], confidence) for name in own]
    if station is not None or not found:
        return found
    whole = min(row.start for row in found), max(row.end for row in found)
    return [_trip_trend(None, whole, list(own.values()), confidence), *found]


def _kinds(trip: Trip) -> set[str]:
    return {str(trip.trip_class), str(trip.cause)}


def _watched(
    store: Store, stations: Iterable[str], start: int | None, end: int | None
) -> dict[str, tuple[int, int]]:
    """Return from when to when each station was watched; none that hardly ever was. [ns]"""
    read: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for point in store.points():
        if point.samples:
            read[point.point.rpartition(".")[0]].append((point.first, point.last + 1))
    found = {}
    for name in stations:
        first = max(
            min((span[0] for span in read[name]), default=0), -FOREVER if start is None else start
        )
        last = min(
            max((span[1] for span in read[name]), default=0), FOREVER if end is None else end
        )
        if last - first >= LEAST_WATCHED_NS:
            found[name] = first, last
    return found


def _history(moments: Iterable[int], start: int, end: int) -> History:
    inside = [(moment - start) / NS_PER_H for moment in moments if start <= moment < end]
    return history(inside, (end - start) / NS_PER_H)


def _trip_trend(
    station: str | None, span: tuple[int, int], histories: Sequence[History], confidence: float
) -> TripTrend:
    trend = pooled_trend(histories, confidence)
    return TripTrend(
        station,
        *span,
        trend,
        steady_mtbf(trend.count, sum(item.end for item in histories), confidence),
        mean_cumulative_function(histories, confidence) if station is None else None,
        confidence,
    )


@dataclass(frozen=True, slots=True)
class Watched:
    """One stretch of a station's bonded resistance, and when it reaches the limit.

    Attributes
    ----------
    limit_ohm : float
        Of the site file in force at the last hookup of the stretch. [ohm]
    is_latest : bool
        Whether no later stretch of the station follows.
    failed_since : int
        Hookups that failed after its last one, before another was verified.
    """

    station: str
    trend: ResistanceTrend
    limit_ohm: float
    reached: Forecast
    is_latest: bool
    failed_since: int

    @property
    def is_due(self) -> bool:
        """Whether it drifts and reaches the limit within 90 days: such a stretch is a finding."""
        return self.reached.days is not None and self.reached.days <= SOON_DAYS


def drift_watch(store: Store, site: Site, station: str | None = None) -> list[Watched]:
    """Return what bonded resistance did at each station, what to watch first.

    First come drifts that go on, the one that reaches its limit soonest at the top; then what
    else is latest at its station, in the order of the site file; then what is past.
    """
    sites = [(since, parse_site(text)) for since, text in store.sites()]
    hookups: dict[str, list[Hookup]] = defaultdict(list)
    for row in store.hookups(station):
        hookups[row.station].append(row)
    work: dict[str, list[WorkWindow]] = defaultdict(list)
    for window in store.work(station):
        work[window.station].append(window)
    order = [row.id for row in site.stations if row.id in hookups]
    found = []
    for name in [*order, *sorted(hookups.keys() - set(order))]:
        epochs = epochs_of(name, sites)
        trends = resistance_trends(hookups[name], work[name])
        for trend in trends:
            limit = limits_at(epochs, trend.last).limit_ohm if epochs else float("inf")
            found.append(
                Watched(
                    name,
                    trend,
                    limit,
                    forecast(trend, limit),
                    trend is trends[-1],
                    failed_since(hookups[name], trend),
                )
            )
    return sorted(found, key=_urgency)


def _urgency(row: Watched) -> tuple[bool, bool, float]:
    drifts = row.trend.kind is Shape.DRIFT
    days = row.reached.days if row.is_latest and drifts else None
    return not row.is_latest, not drifts, float("inf") if days is None else days


@dataclass(frozen=True, slots=True)
class PartWear:
    """The lives of one sort of part, and how long they last where there are enough of them."""

    part: Part
    lives: tuple[PartLife, ...]
    life: Life | None
    """In days."""


def wear(store: Store, *, now: int, station: str | None = None) -> list[PartWear]:
    """Return how long clamps and cables last, by the replacements in the work log.

    Parameters
    ----------
    store : Store
        With the work log.
    now : int
        The clock: a part in use is in use until the last reading, or until now where there are no
        readings. [ns]
    station : str, optional
        Only the parts of this one.
    """
    work = store.work(station)
    latest = [point.last + 1 for point in store.points() if point.samples]
    until = max([*latest, *(window.end for window in work)]) if latest else now
    lives = lives_from_work(work, until)
    return [_part_wear(part, lives) for part in Part if part is not Part.OTHER]


def _part_wear(part: Part, lives: Sequence[PartLife]) -> PartWear:
    own = tuple(life for life in lives if life.part is part)
    life = weibull_life([life.days for life in own], [life.replaced for life in own])
    return PartWear(part, own, life)
