"""Two periods, or two stations, side by side: is one better, and how sure is that?

Episodes count by the exact moment at which they began, so that a change in the middle of a day
can be judged.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from analytics.core.comparison import (
    Difference,
    RateRatio,
    difference_of_shares,
    ratio_of_rates,
)
from analytics.core.merits import HOUR_S
from analytics.core.rates import Rate, poisson_rate
from analytics.core.shares import Share
from bondtrail.results import Hookup, Outcome, Transfer, Trip, TripClass

if TYPE_CHECKING:
    from store import Store

Began = TypeVar("Began", Transfer, Hookup)


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
) -> Side:
    """Return what began in ``[start, end)`` at the stations, or at all; moments in ns."""
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
    )


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


def compared(first: Side, second: Side) -> list[Compared]:
    """Return every figure of two sides beside each other."""
    sides = first, second
    return [
        _shares("compliance", *((one.compliant, one.transfers) for one in sides)),
        _rates(
            "nuisance_per_100_transfers",
            100,
            *((one.nuisance_trips, one.transfers) for one in sides),
        ),
        _rates(
            "nuisance_per_1000_flow_h",
            1000,
            *((one.nuisance_trips, one.flow_s / HOUR_S) for one in sides),
        ),
        _shares("failed_hookup_share", *((one.failed_hookups, one.hookups) for one in sides)),
    ]


def _shares(figure: str, first: tuple[int, int], second: tuple[int, int]) -> Compared:
    change = difference_of_shares(*second, *first)
    return Compared(figure, change.second, change.first, change)


def _rates(
    figure: str, per: float, first: tuple[int, float], second: tuple[int, float]
) -> Compared:
    change = ratio_of_rates(*second, *first)
    return Compared(figure, poisson_rate(*first, per), poisson_rate(*second, per), change)
