"""Episodes put into a store by hand, as an analysis would."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

from bondtrail.results import Hookup, Outcome, StationResults, Transfer, Trip, TripCause, TripClass
from bondtrail.times import NS_PER_S
from store import Store

HOUR = 3600 * NS_PER_S
DAY = 24 * HOUR


def put(store: Store, station: str, **parts: Iterable[Any]) -> None:
    """Replace all results of a station."""
    found = StationResults(station, **{name: tuple(rows) for name, rows in parts.items()})
    store.save_results(found, since=-(2**63), since_day=dt.date.min)


def a_trip(
    station: str,
    time: int,
    trip_class: TripClass = TripClass.NUISANCE,
    cause: TripCause = TripCause.NO_LOSS_SEEN,
) -> Trip:
    return Trip(station, time, f"{station}/x", trip_class, cause, False, None, None)


def a_transfer(
    station: str, start: int, *, compliant: bool = True, flow_h: float = 1.0
) -> Transfer:
    return Transfer(
        station=station,
        start=start,
        end=start + HOUR // 2,
        flow_s=flow_h * 3600,
        volume=None,
        unit=None,
        batch=None,
        product=None,
        operator=None,
        compliant=compliant,
        not_bonded_s=0.0,
        no_data_s=0.0,
        bypassed_s=0.0,
        not_bonded_volume=None,
        no_data_volume=None,
        bypassed_volume=None,
        trips=0,
        time_to_bond_s=None,
        bond_lead_s=None,
    )


def a_hookup(station: str, start: int, ohm: float | None = 2.0, *, failed: bool = False) -> Hookup:
    outcome = Outcome.FAILED if failed else Outcome.VERIFIED
    return Hookup(station, start, start + HOUR // 2, outcome, None, ohm, ohm, None)
