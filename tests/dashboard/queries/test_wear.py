"""What a station's page asks about wear."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from analytics.core.trends import Verdict
from analytics.trends import trip_trends
from bondtrail.samples import Samples
from bondtrail.site import Site, parse_site
from dashboard.queries.wear import resistance_of, trips_course_of
from store import Store, open_store
from tests.dashboard.conftest import sqlite_url
from tests.dashboard.quay import BAD_START, SITE, S, at, fill

SPAN = at("01T00:00:00"), at("04T00:00:00")


@pytest.fixture
def store(filled_url: str) -> Iterator[Store]:
    with open_store(filled_url) as opened:
        yield opened


def test_trips_are_watched_over_what_is_on_record_of_the_period(tmp_path: Path, site: Site) -> None:
    later = SPAN[0] + 60 * 3600 * S
    with open_store(sqlite_url(tmp_path)) as store:
        fill(store, site)
        store.write({"rail-1.flow": Samples.of([later], [0.0])})
        course = trips_course_of(store, site, "rail-1", *SPAN)
        (row,) = trip_trends(store, site, *SPAN, station="rail-1")
    assert course.times.tolist() == [BAD_START + 110 * S]
    assert course.span == (row.start, row.end) == (BAD_START - 300 * S, later + 1)
    assert (course.trend, course.fit) == (row.trend, None)
    assert course.trend.verdict is Verdict.FEW


def test_of_a_time_that_was_hardly_watched_nothing_is_known(store: Store, site: Site) -> None:
    course = trips_course_of(store, site, "rail-1", *SPAN)
    assert (course.times.size, course.span) == (1, SPAN)
    assert (course.trend.verdict, course.trend.known) == (Verdict.FEW, 0.0)


def test_no_trips_are_too_few(store: Store, site: Site) -> None:
    course = trips_course_of(store, site, "bowl", *SPAN)
    assert (course.times.size, course.trend.verdict) == (0, Verdict.FEW)


def test_resistance_is_that_of_verified_hookups_with_the_limit_of_their_day(
    store: Store, site: Site
) -> None:
    told = resistance_of(store, site.station("rail-1"), SPAN)
    assert told is not None
    assert told.ohm.tolist() == [4.0, 4.1]
    assert told.limit_ohm == 12.0
    assert [trend.hookups for trend in told.trends] == [2]


@pytest.mark.parametrize("station", ["bowl", "bay-9"])
def test_there_is_no_resistance_without_hookups(store: Store, site: Site, station: str) -> None:
    assert resistance_of(store, site.station(station), SPAN) is None


def test_a_later_limit_does_not_judge_earlier_hookups(
    store_url_of_two_limits: str, site: Site
) -> None:
    with open_store(store_url_of_two_limits) as store:
        told = resistance_of(store, site.station("rail-1"), SPAN)
    assert told is not None
    assert told.limit_ohm == 12.0


@pytest.fixture
def store_url_of_two_limits(tmp_path_factory: pytest.TempPathFactory, site: Site) -> str:
    url = sqlite_url(tmp_path_factory.mktemp("limits"))
    with open_store(url) as store:
        fill(store, site)
        later = SITE.replace("limit_ohm = 12.0", "limit_ohm = 99.0")
        store.put_site(parse_site(later), at("20T00:00:00"))
    return url
