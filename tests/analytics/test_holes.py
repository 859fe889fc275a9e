"""Holes: how large, on which days, and what only waits for an analysis."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from analytics.holes import Coverage, Hole, Waiting, days_missed, holes, ranges, waiting
from bondtrail.results import DaySums, StationResults
from bondtrail.samples import Samples
from bondtrail.times import NS_PER_S, day_start
from store import Store, open_store

ZONE = ZoneInfo("Europe/Lisbon")
DAY_S = 86_400.0
BEGIN = dt.date(1970, 1, 1)


def march(*days: int) -> list[dt.date]:
    return [dt.date(2026, 3, day) for day in days]


def at(day: int, hour: float = 0.0) -> int:
    return day_start(dt.date(2026, 3, day), ZONE) + round(hour * 3600 * NS_PER_S)


@pytest.mark.parametrize(
    ("days", "text"),
    [
        ([], ""),
        (march(3), "2026-03-03"),
        (march(3, 4), "2026-03-03 to 2026-03-04"),
        (march(3, 4, 5, 9), "2026-03-03 to 2026-03-05, 2026-03-09"),
        (march(1, 3, 5, 7), "2026-03-01, 2026-03-03, 2026-03-05, 2026-03-07"),
        (march(1, 3, 5, 7, 9, 11), "2026-03-01, 2026-03-03, 2026-03-05, 2026-03-07 and 2 more"),
        (
            [dt.date(2025, 12, 31), dt.date(2026, 1, 1)],
            "2025-12-31 to 2026-01-01",
        ),
    ],
)
def test_days_that_follow_each_other_are_a_range(days: list[dt.date], text: str) -> None:
    assert ranges(days) == text


@pytest.fixture
def judged(empty_store: Path, tmp_path: Path) -> Iterator[Store]:
    """A spot that is known on 1 March, for 90 % of the 2nd and for half of the 3rd."""
    path = tmp_path / "holes.db"
    path.write_bytes(empty_store.read_bytes())
    with open_store(f"sqlite:///{path}") as store:
        days = [
            DaySums("spot", day, known_s=share * DAY_S, unknown_s=(1 - share) * DAY_S)
            for day, share in zip(march(1, 2, 3), (1.0, 0.9, 0.5), strict=True)
        ]
        store.save_results(StationResults("spot", days=tuple(days)), since=0, since_day=BEGIN)
        yield store


@pytest.mark.parametrize(
    ("last", "now", "expected"),
    [
        pytest.param(4, at(5), march(3, 4), id="more-than-a-tenth"),
        pytest.param(4, at(4), march(3), id="nothing-after-now"),
        pytest.param(4, at(3, 12), [], id="half-a-day-is-all-there-was"),
        pytest.param(2, at(5), [], id="nothing-after-the-period"),
    ],
)
def test_the_days_of_which_much_is_missing(
    judged: Store, last: int, now: int, expected: list[dt.date]
) -> None:
    days = march(1, last)
    assert days_missed(judged, ZONE, (days[0], days[1]), now, ["spot"]) == {"spot": expected}


def test_the_largest_hole_comes_first_with_its_days(judged: Store) -> None:
    covered = {
        "whole": Coverage(4 * DAY_S, 0.0, 0.5),
        "no-flow": Coverage(4 * DAY_S, 0.0, 0.0, flow_unknown_s=60.0),
        "small": Coverage(4 * DAY_S - 60, 60.0, 0.0),
        "spot": Coverage(2.4 * DAY_S, 0.6 * DAY_S, DAY_S),
    }
    days = march(1, 4)
    found = holes(judged, ZONE, (days[0], days[1]), at(9), covered)
    assert found == [
        Hole("spot", covered["spot"], march(3, 4)),
        Hole("small", covered["small"]),
        Hole("no-flow", covered["no-flow"]),
    ]
    assert holes(judged, ZONE, (days[0], days[1]), at(9), covered, most=1) == found[:1]
    assert holes(judged, ZONE, (days[0], days[1]), at(9), {}) == []


def test_what_is_known_is_a_share_of_all_time() -> None:
    coverage = Coverage(60.0, 20.0, 15.0, 5.0, flow_unknown_s=50.0)
    assert (coverage.missing_s, coverage.station_s, coverage.share) == (40.0, 100.0, 0.6)
    assert Coverage(0.0, 0.0, 0.0).share is None


SPAN = at(1), at(11)


@pytest.mark.parametrize(
    ("since", "heard", "no_record_s", "expected"),
    [
        pytest.param(0, (at(1), at(11)), 10 * DAY_S, 10 * DAY_S, id="nothing-analysed"),
        pytest.param(0, (at(3), at(9)), 10 * DAY_S, 6 * DAY_S, id="not-heard-at-both-ends"),
        pytest.param(at(7), (at(1), at(11)), 4 * DAY_S, 4 * DAY_S, id="analysed-up-to-the-7th"),
        pytest.param(at(5), (at(1), at(9)), 2 * DAY_S, 0.0, id="older-results-are-still-there"),
        pytest.param(at(5), (at(1), at(11)), 0.0, 0.0, id="nothing-is-missing"),
        pytest.param(0, (at(20), at(25)), 10 * DAY_S, 0.0, id="heard-later"),
    ],
)
def test_what_waits_for_an_analysis_is_told_from_what_was_never_recorded(
    since: int, heard: tuple[int, int], no_record_s: float, expected: float
) -> None:
    assert Waiting(since, *heard).not_analysed_s(no_record_s, *SPAN) == pytest.approx(expected)


def test_stations_wait_where_they_were_touched_before_the_end(judged: Store) -> None:
    assert waiting(judged, at(5)) == {}
    judged.write({"spot.flow": Samples.of([at(2), at(4)], [0.0, 0.0])})
    judged.touch("silent", at(3))  # nothing of it is on record
    assert waiting(judged, at(5)) == {"spot": Waiting(at(2), at(2), at(4))}
    assert waiting(judged, at(2)) == {}
