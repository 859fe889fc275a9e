"""What gets worse: trips over time, resistance from hookup to hookup, and how long parts last."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
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
from analytics.core.histories import History, history
from analytics.core.life import Life, PartLife, lives_from_work, weibull_life
from analytics.core.mean_cumulative import MeanCumulative, mean_cumulative_function
from analytics.core.mtbf import Mtbf, steady_mtbf
from analytics.core.replacements import Part
from analytics.core.trends import EventTrend, pooled_trend
from analytics.epochs import FOREVER, epochs_of, limits_at
from analytics.site_files import stored_sites
from bondtrail.results import Hookup, Trip, WorkWindow
from bondtrail.site import Site
from bondtrail.times import NS_PER_S, local_day

if TYPE_CHECKING:
    from store import Store

NS_PER_H = 3600 * NS_PER_S

LEAST_WATCHED_NS = NS_PER_H
"""A station with a shorter record says nothing of how its trips come."""

CONFIDENCE = 0.95

Span = tuple[int, int]
"""``[start, end)``. [ns]"""


@dataclass(frozen=True, slots=True)
class TripTrend:
    """The trips of one station over the time that it was watched, or of all of them together.

    Attributes
    ----------
    station : str or None
        None stands for the stations of the site, each counted from its own start.
    start, end : int
        Watched ``[start, end)``, by the calendar, or to the last trip where that ends the watch.
        Of all, the first start and the last end. [ns]
    trend : EventTrend
        Times are in h. What is ``known`` of it is by whole days of the site.
    mtbf : Mtbf
        As if trips came at a steady rate. [h]
    histories : sequence of History
        Of each station. [h]
    confidence : float
        Of the intervals.
    """

    station: str | None
    start: int
    end: int
    trend: EventTrend
    mtbf: Mtbf
    histories: Sequence[History] = field(repr=False, compare=False)
    confidence: float = CONFIDENCE

    def mean_cumulative(self) -> MeanCumulative | None:
        """Return the trips per station by its age [h], of all stations only.

        None too where the watch ends with a trip: the end of a history says something of it then.
        """
        if self.station is not None or any(item.ends_with_event for item in self.histories):
            return None
        return mean_cumulative_function(self.histories, self.confidence)


def trip_trends(
    store: Store,
    site: Site,
    start: int | None = None,
    end: int | None = None,
    *,
    kinds: Collection[str] = (),
    station: str | None = None,
    confidence: float = CONFIDENCE,
    ends_with_trip: bool = False,
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
    ends_with_trip : bool
        Whether each station was watched until its last trip (failure terminated), and not until a
        moment set beforehand. One without a trip has no such watch.
    """
    moments: dict[str, list[int]] = defaultdict(list)
    for trip in store.trips(station, start, end):
        if not kinds or _kinds(trip) & set(kinds):
            moments[trip.station].append(trip.time)
    wanted = [row.id for row in site.stations if not row.is_fixed or row.id in moments]
    wanted += sorted(moments.keys() - set(wanted))
    spans = _watched(store, [name for name in wanted if station in (None, name)], start, end)
    if ends_with_trip:
        spans = _until_last(moments, spans)
    known = _known(store, site, spans)
    own = {
        name: _history(moments[name], *span, ends_with_trip=ends_with_trip)
        for name, span in spans.items()
    }
    found = [
        _trip_trend(name, spans[name], [own[name]], _share([known[name]]), confidence)
        for name in own
    ]
    if station is not None or not found:
        return found
    whole = min(row.start for row in found), max(row.end for row in found)
    share = _share(known.values())
    return [_trip_trend(None, whole, list(own.values()), share, confidence), *found]


def _kinds(trip: Trip) -> set[str]:
    return {str(trip.trip_class), str(trip.cause)}


def _watched(
    store: Store, stations: Iterable[str], start: int | None, end: int | None
) -> dict[str, Span]:
    """Return from when to when each station was watched; none that hardly ever was. [ns]"""
    heard, found = store.readings(), {}
    for name in stations:
        if name not in heard:
            continue
        first = max(heard[name][0], -FOREVER if start is None else start)
        last = min(heard[name][1] + 1, FOREVER if end is None else end)
        if last - first >= LEAST_WATCHED_NS:
            found[name] = first, last
    return found


def _until_last(moments: Mapping[str, Iterable[int]], spans: Mapping[str, Span]) -> dict[str, Span]:
    """Return each span up to the last trip in it; none of a station without one."""
    found = {}
    for name, (start, end) in spans.items():
        last = max((moment for moment in moments[name] if start <= moment < end), default=start)
        if last - start >= LEAST_WATCHED_NS:
            found[name] = start, last
    return found


def _known(store: Store, site: Site, spans: Mapping[str, Span]) -> dict[str, tuple[float, float]]:
    """Return how much of the days of each span tells whether product flowed, of how much. [s]

    Trips come in flow: a bond that nobody looks at between transfers hides none.
    """
    by_days = defaultdict(list)
    for name, (start, end) in spans.items():
        by_days[local_day(start, site.zone), local_day(end - 1, site.zone)].append(name)
    found = dict.fromkeys(spans, (0.0, 0.0))
    for (first, last), names in by_days.items():
        # Stations that were watched on the same days, as most are, are one question.
        for part in store.summaries.sums([first, last + timedelta(days=1)], stations=names):
            whole = part.sums.known_s + part.sums.unknown_s
            found[part.sums.station] = whole - part.sums.flow_unknown_s, whole
    return found


def _share(known: Iterable[tuple[float, float]]) -> float:
    parts = list(known)
    whole = sum(of for _, of in parts)
    return sum(part for part, _ in parts) / whole if whole else 0.0


def _history(moments: Iterable[int], start: int, end: int, *, ends_with_trip: bool) -> History:
    until = end + 1 if ends_with_trip else end
    inside = [(moment - start) / NS_PER_H for moment in moments if start <= moment < until]
    return history(inside, (end - start) / NS_PER_H, ends_with_event=ends_with_trip)


def _trip_trend(
    station: str | None,
    span: Span,
    histories: Sequence[History],
    known: float,
    confidence: float,
) -> TripTrend:
    trend = pooled_trend(histories, confidence, known)
    total = sum(item.end for item in histories)
    ends_with_trip = any(item.ends_with_event for item in histories)
    mtbf = steady_mtbf(trend.count, total, confidence, ends_with_event=ends_with_trip)
    return TripTrend(station, *span, trend, mtbf, histories, confidence)


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
    found = stretches_of(store.hookups(station), store.work(station), stored_sites(store))
    order = {row.id: place for place, row in enumerate(site.stations)}
    in_order = sorted(found, key=lambda row: order.get(row.station, len(order)))
    return sorted(in_order, key=_urgency)


def stretches_of(
    hookups: Iterable[Hookup],
    work: Iterable[WorkWindow],
    sites: Sequence[tuple[int, Site]],
) -> list[Watched]:
    """Return what bonded resistance did at each station, by its name and then by time.

    Parameters
    ----------
    hookups, work : iterable
        Of any stations.
    sites : sequence of (int, Site)
        Each site file with the moment from which it holds; a station that none of them names has
        an infinite limit. [ns]
    """
    contacts: dict[str, list[Hookup]] = defaultdict(list)
    for row in hookups:
        contacts[row.station].append(row)
    worked: dict[str, list[WorkWindow]] = defaultdict(list)
    for window in work:
        worked[window.station].append(window)
    return [
        row for name in sorted(contacts) for row in _stretches(contacts[name], worked[name], sites)
    ]


def _stretches(
    hookups: Sequence[Hookup], work: Sequence[WorkWindow], sites: Sequence[tuple[int, Site]]
) -> Iterator[Watched]:
    station = hookups[0].station
    epochs = epochs_of(station, sites)
    trends = resistance_trends(hookups, work)
    for trend in trends:
        limit = limits_at(epochs, trend.last).limit_ohm if epochs else float("inf")
        reached, failed = forecast(trend, limit), failed_since(hookups, trend)
        yield Watched(station, trend, limit, reached, trend is trends[-1], failed)


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
        The clock: work that begins later is not done yet. A part in use is in use until the last
        reading of its station or the end of the last work on it, but not beyond now. [ns]
    station : str, optional
        Only the parts of this one.
    """
    work = [window for window in store.work(station) if window.start < now]
    until = {window.station: 0 for window in work}
    told = [(name, last + 1) for name, (_, last) in store.readings().items()]
    for name, end in [*told, *((window.station, window.end) for window in work)]:
        if name in until:
            until[name] = min(now, max(until[name], end))
    lives = lives_from_work(work, until)
    return [_part_wear(part, lives) for part in Part if part is not Part.OTHER]


def _part_wear(part: Part, lives: Sequence[PartLife]) -> PartWear:
    own = tuple(life for life in lives if life.part is part)
    life = weibull_life([life.days for life in own], [life.replaced for life in own])
    return PartWear(part, own, life)
