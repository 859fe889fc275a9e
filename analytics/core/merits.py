"""Figures of merit: what the sums of a period come to, each with what stands behind it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import repeat
from operator import attrgetter
from typing import Any

import numpy as np

from analytics.core.quantiles import quantiles
from analytics.core.rates import Rate, poisson_rates
from analytics.core.shares import INTERVALS, Estimates, Floats, Interval, Share, TimeShare
from bondtrail.results import CLASS_OF, DaySums, TripClass

Figure = Share | Rate | TimeShare

HOUR_S = 3600.0

NUISANCE_TRIPS = tuple(
    f"{sort}/{cause}" for cause, sort in CLASS_OF.items() if sort is TripClass.NUISANCE
)
"""Trips without a real loss of bond, as `DaySums.trips` names them."""


@dataclass(frozen=True, slots=True)
class FiguresOfMerit:
    """What the sums of one station or group over one period come to.

    ``coverage`` is the share of the recorded time in which the state of the bond was known. Times
    to bond and to stop are medians and 95th percentiles, within `quantiles.RELATIVE_ERROR`. [s]
    """

    compliance: Share
    failed_hookup_share: Share
    nuisance_per_100_transfers: Rate
    nuisance_per_1000_flow_h: Rate
    """``of`` is in flow hours."""
    bypass_share: TimeShare
    """Of the flow of which it is known whether the interlock was bypassed. [s]"""
    coverage: float | None
    time_to_bond_p50_s: float | None
    time_to_bond_p95_s: float | None
    time_to_stop_p50_s: float | None
    time_to_stop_p95_s: float | None


def figures_of_merit(
    sums: Sequence[DaySums], *, interval: Interval = "wilson"
) -> list[FiguresOfMerit]:
    """Return the figures of each sum.

    Parameters
    ----------
    sums : sequence of DaySums, length n
        Of any periods, stations, groups or shifts.
    interval : {"wilson", "clopper-pearson"}
        Of the shares.

    Returns
    -------
    list of FiguresOfMerit, length n
        None in the place of whatever there was nothing to tell from.
    """
    nuisances = [nuisance_trips(one) for one in sums]
    transfers, flow_s = _column(sums, "transfers"), _column(sums, "flow_s")
    known_s, unknown_s = _column(sums, "known_s"), _column(sums, "unknown_s")
    # Rounded as sums are told: what adding floats leaves behind is no flow.
    told_s = np.maximum(np.round(flow_s - _column(sums, "bypass_unknown_s"), 6), 0.0)
    return list(
        map(
            FiguresOfMerit,
            _shares(sums, "compliant_transfers", "transfers", interval),
            _shares(sums, "failed_hookups", "hookups", interval),
            _rates(nuisances, transfers, 100, int),
            _rates(nuisances, flow_s / HOUR_S, 1000, float),
            _time_shares(_column(sums, "bypassed_s"), told_s),
            _parts(known_s, known_s + unknown_s),
            *_percentiles(sums, "time_to_bond"),
            *_percentiles(sums, "time_to_stop"),
        )
    )


def nuisance_trips(sums: DaySums) -> int:
    """Return how many trips had no real loss of bond behind them."""
    trips = sums.trips
    return sum(trips.get(name, 0) for name in NUISANCE_TRIPS) if trips else 0


def _column(sums: Sequence[DaySums], name: str) -> Floats:
    return np.fromiter(map(attrgetter(name), sums), np.float64, len(sums))


def _known(values: Floats) -> list[Any]:
    """Return the values with None in the place of NaN."""
    found: list[Any] = values.tolist()
    for index in np.flatnonzero(np.isnan(values)).tolist():
        found[index] = None
    return found


def _told(found: Estimates) -> Iterable[list[Any]]:
    return map(_known, found)


def _shares(sums: Sequence[DaySums], count: str, of: str, interval: Interval) -> Iterable[Share]:
    counts, wholes = (list(map(attrgetter(name), sums)) for name in (count, of))
    return map(Share, *_told(INTERVALS[interval](counts, wholes)), counts, wholes)


def _rates(
    counts: Sequence[int], exposure: Floats, per: float, unit: Callable[[float], float]
) -> Iterable[Rate]:
    found = poisson_rates(counts, exposure, per)
    return map(Rate, *_told(found), counts, map(unit, exposure.tolist()))


def _parts(part: Floats, whole: Floats) -> list[Any]:
    return _known(part / np.where(whole == 0, np.nan, whole))


def _time_shares(part_s: Floats, whole_s: Floats) -> Iterable[TimeShare]:
    none = repeat(None)
    return map(TimeShare, _parts(part_s, whole_s), none, none, part_s.tolist(), whole_s.tolist())


def _percentiles(sums: Sequence[DaySums], name: str) -> tuple[list[Any], list[Any]]:
    found = quantiles(list(map(attrgetter(name), sums)), (0.5, 0.95))
    return _known(found[:, 0]), _known(found[:, 1])
