"""Two periods, or two stations, side by side: is one better, and how sure is that?

Episodes count by the exact moment at which they began, so that a change in the middle of a day
can be judged.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar
from zoneinfo import ZoneInfo

from analytics.core.comparison import (
    Difference,
    RateRatio,
    TwoSided,
    difference_of_shares,
    ratio_of_rates,
)
from analytics.core.merits import HOUR_S
from analytics.core.rates import Rate, poisson_rate
from analytics.core.shares import Share
from bondtrail.results import Hookup, Outcome, Transfer, Trip, TripClass
from bondtrail.times import local_day

if TYPE_CHECKING:
    from store import Store

Began = TypeVar("Began", Transfer, Hookup)


@dataclass(frozen=True, slots=True)
class Record:
    """How much of a side is on record. Moments in ns.

    Attributes
    ----------
    readings : tuple of int or None
        First and last reading of its stations at any time; None without any.
    span : tuple of int or None
        The part of the side between those; None where none of it is.
    is_whole : bool
        Whether nothing of the side lies before the first reading or after the last.
    known : float
        Share of its time with the bond state known, by whole days of the site. [-]
    """

    readings: tuple[int, int] | None
    span: tuple[int, int] | None
    is_whole: bool
    known: float


@dataclass(frozen=True, slots=True)
class Side:
    """What began at some stations in a stretch of time ``[start, end)``; no end: all there is.

    Moments in ns. ``flow_s`` is the flow in it: of a transfer that runs across an end, in
    proportion to the time on either side.
    """

    name: str
    stations: tuple[str, ...] | None
    start: int | None
    end: int | None
    transfers: int
    compliant: int
    flow_s: float
    nuisance_trips: int
    hookups: int
    failed_hookups: int
    record: Record


@dataclass(frozen=True, slots=True)
class Compared:
    """One figure of both sides, and what the second is beside the first.

    Attributes
    ----------
    figure : str
        As figures of merit are called.
    first, second : Share or Rate
        Each side by itself, a rate per what its name says.
    change : Difference or RateRatio
        Of a share the second less the first, of a rate the second over the first.
    """

    figure: str
    first: Share | Rate
    second: Share | Rate
    change: Difference | RateRatio


def side(
    store: Store,
    name: str,
    stations: Collection[str] | None = None,
    start: int | None = None,
    end: int | None = None,
    *,
    zone: ZoneInfo,
) -> Side:
    """Return what began in ``[start, end)`` at the stations, or at all; moments in ns.

    The ``zone`` is that of the site's days.
    """
    under_way: list[Transfer] = _rows(store.transfers, stations, start, end)
    transfers = _begun(under_way, start)
    hookups = _begun(_rows(store.hookups, stations, start, end), start)
    trips: list[Trip] = _rows(store.trips, stations, start, end)
    return Side(
        name,
        None if stations is None else tuple(stations),
        start,
        end,
        transfers=len(transfers),
        compliant=sum(row.compliant for row in transfers),
        flow_s=sum(_flow_s(row, start, end) for row in under_way),
        nuisance_trips=sum(row.trip_class is TripClass.NUISANCE for row in trips),
        hookups=len(hookups),
        failed_hookups=sum(row.outcome is Outcome.FAILED for row in hookups),
        record=_record(store, stations, start, end, zone),
    )


def _record(
    store: Store,
    stations: Collection[str] | None,
    start: int | None,
    end: int | None,
    zone: ZoneInfo,
) -> Record:
    heard = store.readings()
    own = [span for name, span in heard.items() if stations is None or name in stations]
    if not own:
        return Record(None, None, is_whole=False, known=0.0)
    first, last = min(begin for begin, _ in own), max(over for _, over in own)
    since, until = first if start is None else start, last + 1 if end is None else end
    span = max(first, since), min(last + 1, until)
    if span[0] >= span[1]:
        return Record((first, last), None, is_whole=False, known=0.0)
    share = _known(store, stations, span, zone) * (span[1] - span[0]) / (until - since)
    return Record((first, last), span, span == (since, until), share)


def _known(
    store: Store, stations: Collection[str] | None, span: tuple[int, int], zone: ZoneInfo
) -> float:
    """Return how much of the time on record has the bond state known, over days touched. [-]"""
    days = local_day(span[0], zone), local_day(span[1] - 1, zone)
    rows = [
        row
        for row in store.summaries.day_totals(*days)
        if stations is None or row.station in stations
    ]
    known = sum(row.known_s for row in rows)
    whole = known + sum(row.unknown_s for row in rows)
    return known / whole if whole else 0.0


def _flow_s(row: Transfer, start: int | None, end: int | None) -> float:
    """Return how much of a transfer's flow lies between two moments, if it flows evenly. [s]"""
    first = row.start if start is None else max(start, row.start)
    last = row.end if end is None else min(end, row.end)
    length = row.end - row.start
    return row.flow_s * (last - first) / length if length else 0.0


def _rows(
    read: Any, stations: Collection[str] | None, start: int | None, end: int | None
) -> list[Any]:
    if stations is None:
        return list(read(None, start, end))
    return [row for station in stations for row in read(station, start, end)]


def _begun(rows: Iterable[Began], start: int | None) -> list[Began]:
    """Return the rows that did not begin before a moment, of those that overlap what follows."""
    return [row for row in rows if start is None or row.start >= start]


def compared(first: Side, second: Side, two_sided: TwoSided = TwoSided.MINLIKE) -> list[Compared]:
    """Return every figure of two sides beside each other; ratios tested ``two_sided`` so."""
    sides = first, second
    return [
        _shares("compliance", *((one.compliant, one.transfers) for one in sides)),
        _rates(
            "nuisance_per_100_transfers",
            100,
            *((one.nuisance_trips, one.transfers) for one in sides),
            two_sided=two_sided,
        ),
        _rates(
            "nuisance_per_1000_flow_h",
            1000,
            *((one.nuisance_trips, one.flow_s / HOUR_S) for one in sides),
            two_sided=two_sided,
        ),
        _shares("failed_hookup_share", *((one.failed_hookups, one.hookups) for one in sides)),
    ]


def _shares(figure: str, first: tuple[int, int], second: tuple[int, int]) -> Compared:
    change = difference_of_shares(*second, *first)
    return Compared(figure, change.second, change.first, change)


def _rates(
    figure: str,
    per: float,
    first: tuple[int, float],
    second: tuple[int, float],
    *,
    two_sided: TwoSided,
) -> Compared:
    change = ratio_of_rates(*second, *first, two_sided=two_sided)
    return Compared(figure, poisson_rate(*first, per), poisson_rate(*second, per), change)
