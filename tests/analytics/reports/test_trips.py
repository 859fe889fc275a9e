"""The trend of trips over a period, in words."""

from __future__ import annotations

import datetime as dt

import pytest

from analytics.reports import Period, gather
from bondtrail.results import CLASS_OF, DaySums, StationResults, Trip, TripCause
from bondtrail.samples import Samples
from store import Store
from tests.analytics.reports.quay import APRIL, MARCH, NOW, at, quay
from tests.analytics.reports.test_gather import cells, table


def trip(day: int, cause: TripCause) -> Trip:
    return Trip("rail-1", at(day), "rail-1/x", CLASS_OF[cause], cause, False, 0.4, 2.0)


@pytest.fixture
def worsening(store: Store) -> Store:
    """A month in which ten trips come towards its end, two of them genuine."""
    store.put_site(quay(), 0)
    store.write({"rail-1.flow": Samples.of([at(1, 0), at(31, 23.9)], [0.0, 0.0])})
    causes = [TripCause.CLAMP_OFF] * 2 + [TripCause.BRIEF_CONTACT_LOSS] * 8
    trips = [trip(day, cause) for day, cause in zip(range(20, 30), causes, strict=True)]
    days = [DaySums("rail-1", dt.date(2026, 3, day), known_s=1.0) for day in (1, 31)]
    results = StationResults("rail-1", trips=tuple(trips), days=tuple(days))
    store.save_results(results, since=-(2**63), since_day=dt.date.min)
    return store


def test_trips_that_come_faster_are_getting_worse(worsening: Store) -> None:
    report = gather(worsening, quay(), Period(MARCH, APRIL), now=NOW)
    rows = cells(report, "trip_trends", "trips", "station", "mean_time_between_count", "verdict")
    assert rows == [
        ("all trips", "all together", 10, "getting worse"),
        ("all trips", "rail-1", 10, "getting worse"),
        ("nuisance trips", "all together", 8, "getting worse"),
        ("nuisance trips", "rail-1", 8, "getting worse"),
    ]
    found = table(report, "trip_trends").rows
    assert found["words"][1].startswith("getting worse (Laplace test, U = +")
    assert found["beta_low"][1] > 1


def test_of_some_stations_there_is_no_row_of_all(worsening: Store) -> None:
    report = gather(worsening, quay(), Period(MARCH, APRIL), now=NOW, stations={"rail-1"})
    assert set(cells(report, "trip_trends", "station")) == {"rail-1"}


def test_few_trips_are_too_few_to_tell(worsening: Store) -> None:
    report = gather(worsening, quay(), Period(MARCH, dt.date(2026, 3, 22)), now=NOW)
    assert set(cells(report, "trip_trends", "verdict")) == {"too few to tell"}
