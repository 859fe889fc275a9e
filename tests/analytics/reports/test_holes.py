"""Holes in words: which stations, how much, and on which days."""

from __future__ import annotations

import datetime as dt

from analytics.holes import Coverage, Hole
from analytics.reports.holes import MOST_CASES, caveats


def hole(
    station: str,
    unknown_s: float = 0.0,
    no_record_s: float = 0.0,
    day: int | None = None,
    **more: float,
) -> Hole:
    days = () if day is None else (dt.date(2026, 3, day),)
    return Hole(station, Coverage(1000.0, unknown_s, no_record_s, **more), days)


def test_stations_that_miss_the_same_days_are_told_together() -> None:
    (told,) = caveats([hole("a", 60, 7200, 4), hole("b", 0, 3600, 4), hole("c", 30)])
    assert told.text.startswith("The records have holes at 3 stations.")
    assert told.cases == [
        "a, b: bond unknown for 60 s, no record for 3 h in all, mostly 2026-03-04",
        "c: bond unknown for 30 s",
    ]


def test_of_very_many_the_rest_is_told_in_one() -> None:
    found = [hole(f"s{n}", no_record_s=3600.0 * (20 - n), day=n + 1) for n in range(12)]
    (told,) = caveats(found)
    assert len(told.cases) == MOST_CASES + 1
    assert told.cases[0] == "s0: no record for 20 h, mostly 2026-03-01"
    assert told.cases[-1] == "7 more stations, on other days: no record for 3 d 12 h in all"


def test_what_waits_for_an_analysis_is_no_missing_record() -> None:
    (told,) = caveats([hole("a", not_analysed_s=7200.0)])
    assert told.cases == ["a: not analysed for 2 h"]


def test_time_in_which_no_transfer_can_be_seen_is_told() -> None:
    whole, flow = caveats(
        [hole("a", 60, flow_unknown_s=3600.0), hole("b", flow_unknown_s=7200.0), hole("c")]
    )
    assert whole.cases == ["a: bond unknown for 60 s"]
    assert flow.text == (
        "Whether product flowed is unknown for 3 h in all at 2 stations (a, b): no transfer can be "
        "seen then, neither good nor bad."
    )
