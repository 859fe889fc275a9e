"""The drift watch list: what is due, what rises, and a step told as a step."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

import pytest

from analytics.core.drift import drift_findings
from analytics.reports import Period, gather
from bondtrail.results import Hookup, Outcome, StationResults, WorkWindow
from bondtrail.samples import Samples
from bondtrail.site import Limits
from store import Store
from tests.analytics.reports.quay import APRIL, MARCH, NOW, S, at, quay
from tests.analytics.reports.test_gather import cells

Resistance = Callable[[int], float]


def put(store: Store, station: str, ohm: Resistance, failed: int = 0) -> None:
    """Save a verified hookup a day, each at the resistance of its day, and the drift they make.

    So many that ``failed`` follow on the last day of March.
    """
    hookups = [
        Hookup(station, at(day), at(day) + 600 * S, Outcome.VERIFIED, 2.0, ohm(day), ohm(day), None)
        for day in range(1, 31)
    ]
    for hour in range(failed):
        start = at(31, 6 + hour)
        hookups.append(
            Hookup(station, start, start + 60 * S, Outcome.FAILED, None, 25.0, 30.0, None)
        )
    drift = drift_findings(station, hookups, [], lambda _: Limits())
    results = StationResults(station, hookups=tuple(hookups), drift=tuple(drift))
    store.save_results(results, since=-(2**63), since_day=dt.date.min)


def watched(store: Store, first: dt.date = MARCH) -> list[Any]:
    report = gather(store, quay(), Period(first, APRIL), now=NOW)
    return cells(report, "drift_watch", "station", "what", "hookups")


@pytest.fixture
def quayside(store: Store) -> Store:
    store.put_site(quay(), 0)
    return store


def test_a_drift_that_is_due_comes_before_what_only_rises_or_steps(quayside: Store) -> None:
    put(quayside, "tote", lambda day: 2.0 + 0.1 * day)
    put(quayside, "rail-1", lambda day: 2.0 + 0.001 * day)
    put(quayside, "bowl", lambda day: 2.0 if day < 15 else 6.0 + 0.01 * (day % 3))
    assert watched(quayside) == [
        ("tote", "reaches its limit soon", 30),
        ("bowl", "a step", 30),
        ("rail-1", "rising", 30),
    ]


def test_a_due_drift_says_when_as_a_range(quayside: Store) -> None:
    put(quayside, "tote", lambda day: 2.0 + 0.1 * day + 0.1 * (day * 7 % 5))
    report = gather(quayside, quay(), Period(MARCH, APRIL), now=NOW)
    ((on, earliest, latest),) = cells(
        report, "drift_watch", "reaches_limit_on", "earliest", "latest"
    )
    assert earliest < on < latest
    # 0.1 ohm a day from 5 ohm at the end of March: 10 ohm some fifty days later.
    assert dt.date(2026, 5, 10) < on.date() < dt.date(2026, 5, 30)


def test_too_few_hookups_in_the_period_show_no_step(quayside: Store) -> None:
    put(quayside, "bowl", lambda day: 2.0 if day < 15 else 6.0)
    assert watched(quayside, MARCH.replace(day=20)) == []


def test_how_long_parts_last_is_told_from_the_work_log(quayside: Store) -> None:
    quayside.put_work(
        [WorkWindow("tote", at(day), at(day, 7), "clamp replaced") for day in range(1, 32, 2)]
    )
    quayside.write({"tote.resistance": Samples.of([at(1), at(31, 20)], [3.0, 3.0])})
    report = gather(quayside, quay(), Period(MARCH, APRIL), now=NOW)
    ((part, replaced, running, words),) = cells(
        report, "part_lives", "part", "replaced", "running", "words"
    )
    assert (part, replaced, running) == ("clamp", 15, 1)
    assert words.startswith("wears out (Weibull shape")


def test_too_few_replacements_say_so(quayside: Store) -> None:
    quayside.put_work([WorkWindow("tote", at(2), at(2, 7), "cable replaced")])
    quayside.write({"tote.resistance": Samples.of([at(1), at(31, 20)], [3.0, 3.0])})
    report = gather(quayside, quay(), Period(MARCH, APRIL), now=NOW)
    assert cells(report, "part_lives", "part", "words") == [
        ("cable", "too few to tell (at least 5 replaced)")
    ]


def test_parts_of_other_stations_are_left_out(quayside: Store) -> None:
    for station in ("tote", "rail-1"):
        days = range(1, 32, 2) if station == "tote" else range(1, 8, 2)
        quayside.put_work(
            [WorkWindow(station, at(day), at(day, 7), "clamp replaced") for day in days]
        )
        quayside.write({f"{station}.resistance": Samples.of([at(1), at(31, 20)], [3.0, 3.0])})
    report = gather(quayside, quay(), Period(MARCH, APRIL), now=NOW, stations={"rail-1"})
    assert cells(report, "part_lives", "part", "replaced", "words") == [
        ("clamp", 3, "too few to tell (at least 5 replaced)")
    ]
    every = gather(quayside, quay(), Period(MARCH, APRIL), now=NOW)
    assert cells(every, "part_lives", "replaced") == [18]


def test_lives_are_told_with_their_intervals(quayside: Store) -> None:
    quayside.put_work(
        [WorkWindow("tote", at(day), at(day, 7), "clamp replaced") for day in range(1, 32, 3)]
    )
    quayside.write({"tote.resistance": Samples.of([at(1), at(31, 20)], [3.0, 3.0])})
    report = gather(quayside, quay(), Period(MARCH, APRIL), now=NOW)
    names = ("b10_low", "b10_days", "b10_high", "median_low", "median_days", "median_high")
    ((*told,),) = cells(report, "part_lives", *names)
    assert told[:3] == sorted(told[:3])
    assert told[3:] == sorted(told[3:])
    assert told[1] < told[4]


def test_a_drift_says_by_which_hookups_it_was_judged(quayside: Store) -> None:
    put(quayside, "tote", lambda day: 2.0 + 0.1 * day)
    week = Period(dt.date(2026, 3, 2), dt.date(2026, 3, 9))
    report = gather(quayside, quay(), week, now=NOW)
    ((until, mind),) = cells(report, "drift_watch", "until", "judged_by")
    assert until.date() == dt.date(2026, 3, 30)
    assert mind.startswith("judged by hookups up to 2026-03-30, after the end of this period")
    whole = gather(quayside, quay(), Period(MARCH, APRIL), now=NOW)
    assert cells(whole, "drift_watch", "judged_by") == [""]


def test_the_range_of_a_forecast_is_named(quayside: Store) -> None:
    put(quayside, "tote", lambda day: 2.0 + 0.1 * day + 0.1 * (day * 7 % 5))
    put(quayside, "bowl", lambda day: 2.0 if day < 15 else 6.0 + 0.01 * (day % 3))
    report = gather(quayside, quay(), Period(MARCH, APRIL), now=NOW)
    reach, step = cells(report, "drift_watch", "reaches_limit")
    assert re.fullmatch(
        r"about 2026-05-\d\d; 2026-05-\d\d to 2026-\d\d-\d\d \(95 % of the slope alone\)\.", reach
    )
    assert step == ""


def test_hookups_that_failed_since_are_counted(quayside: Store) -> None:
    put(quayside, "tote", lambda day: 2.0 + 0.1 * day, failed=2)
    put(quayside, "rail-1", lambda day: 2.0 + 0.001 * day, failed=1)
    report = gather(quayside, quay(), Period(MARCH, APRIL), now=NOW)
    assert cells(report, "drift_watch", "station", "failed_since") == [("tote", 2), ("rail-1", 1)]
