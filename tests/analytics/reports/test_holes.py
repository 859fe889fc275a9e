"""Holes in words: which stations, how much, and on which days."""

from __future__ import annotations

import datetime as dt

import pytest

from analytics.reports.holes import MOST_CASES, Hole, caveat, ranges
from analytics.reports.report import Coverage


def march(*days: int) -> list[dt.date]:
    return [dt.date(2026, 3, day) for day in days]


@pytest.mark.parametrize(
    ("days", "text"),
    [
        ([], ""),
        (march(3), "2026-03-03"),
        (march(3, 4), "2026-03-03 to 2026-03-04"),
        (march(3, 4, 5, 9), "2026-03-03 to 2026-03-05, 2026-03-09"),
        (march(1, 3, 5, 7), "2026-03-01, 2026-03-03, 2026-03-05, 2026-03-07"),
        (march(1, 3, 5, 7, 9, 11), "2026-03-01, 2026-03-03, 2026-03-05, 2026-03-07 and 2 more"),
    ],
)
def test_days_that_follow_each_other_are_a_range(days: list[dt.date], text: str) -> None:
    assert ranges(days) == text


def hole(station: str, unknown_s: float = 0.0, no_record_s: float = 0.0, days: str = "") -> Hole:
    return Hole(station, Coverage(1000.0, unknown_s, no_record_s), days)


def test_stations_that_miss_the_same_days_are_told_together() -> None:
    told = caveat([hole("a", 60, 7200, "D"), hole("b", 0, 3600, "D"), hole("c", 30)])
    assert told.text.startswith("The records have holes at 3 stations.")
    assert told.cases == [
        "a, b: bond unknown for 60 s, no record for 3 h in all, mostly D",
        "c: bond unknown for 30 s",
    ]


def test_of_very_many_the_rest_is_told_in_one() -> None:
    found = [hole(f"s{n}", no_record_s=3600.0 * (20 - n), days=f"day {n}") for n in range(12)]
    told = caveat(found)
    assert len(told.cases) == MOST_CASES + 1
    assert told.cases[0] == "s0: no record for 20 h, mostly day 0"
    assert told.cases[-1] == "7 more stations, on other days: no record for 3 d 12 h in all"
