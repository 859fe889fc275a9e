"""Sums and latest rows, asked of the database: the same on SQLite and PostgreSQL."""

from __future__ import annotations

import datetime as dt
import itertools
from collections import Counter

import pytest

from bondtrail.results import (
    DaySums,
    Finding,
    Hookup,
    Kind,
    Outcome,
    Severity,
    StationResults,
    Trip,
    TripCause,
    TripClass,
)
from store import (
    DayMark,
    FindingCount,
    FindingMark,
    Store,
    TripCount,
)
from tests.store.keeping import Kept

DAYS = [dt.date(2026, 3, day) for day in range(1, 8)]
EARLY = dt.date(1970, 1, 1)


S = 1_000_000_000


def finding(station: str, start_s: int, kind: Kind, severity: Severity) -> Finding:
    span = (start_s * S, (start_s + 5) * S)
    return Finding(kind, severity, station, None, *span, "Seen.", {}, {})


def trip(station: str, at_s: int, trip_class: TripClass, cause: TripCause) -> Trip:
    return Trip(station, at_s * S, "t", trip_class, cause, False, None, None)


def results(station: str) -> StationResults:
    return StationResults(
        station=station,
        hookups=tuple(
            Hookup(station, start * S, (start + 9) * S, Outcome.VERIFIED, 1.0, 2.0, 3.0, None)
            for start in (10, 20, 30)
        ),
        trips=(
            trip(station, 10, TripClass.NUISANCE, TripCause.NO_LOSS_SEEN),
            trip(station, 20, TripClass.NUISANCE, TripCause.NO_LOSS_SEEN),
            trip(station, 30, TripClass.GENUINE, TripCause.CLAMP_OFF),
        ),
        findings=(
            finding(station, 10, Kind.CHATTERING, Severity.MINOR),
            finding(station, 20, Kind.ITEM_ISOLATED, Severity.CRITICAL),
            finding(station, 25, Kind.ITEM_ISOLATED, Severity.MAJOR),
            finding(station, 30, Kind.CHATTERING, Severity.MINOR),
        ),
        days=tuple(
            DaySums(
                station,
                day,
                transfers=2,
                compliant_transfers=1,
                flow_s=100.5,
                hookups=3,
                known_s=10.0 * number,
                unknown_s=1.0,
                trips={"genuine/clamp_off": 1},
            )
            for number, day in enumerate(DAYS)
        ),
    )


def fill(store: Store) -> None:
    for station in ("a", "b"):
        store.save_results(results(station), since=0, since_day=EARLY)


@pytest.fixture
def store(kept_store: Kept) -> Store:
    """A store with the results of two stations."""
    return kept_store.holding("summaries", fill)


def test_the_span_of_days(store: Store) -> None:
    assert store.summaries.day_span() == (DAYS[0], DAYS[-1])


def test_an_empty_store_has_no_days_and_no_sums(kept_store: Kept) -> None:
    asked = kept_store.empty().summaries
    assert asked.day_span() is None
    assert asked.day_totals(DAYS[0], DAYS[-1]) == []
    assert asked.episode_counts(0, 100) == {}
    assert asked.finding_counts("a", 0, 100) == []
    assert asked.trip_counts("a", 0, 100) == []
    assert asked.day_marks(DAYS, ["a"]) == []
    assert asked.finding_marks([0, 9], ["a"]) == []
    assert asked.latest_transfers("a", 0, 100, 5) == []


@pytest.mark.parametrize(
    ("first", "last", "days"),
    [(0, 6, 7), (1, 1, 1), (2, 4, 3)],
)
def test_totals_equal_the_sum_of_the_days(store: Store, first: int, last: int, days: int) -> None:
    totals = {row.station: row for row in store.summaries.day_totals(DAYS[first], DAYS[last])}
    assert set(totals) == {"a", "b"}
    one = store.days("a", DAYS[first], DAYS[last])
    assert len(one) == days
    assert totals["a"] == DaySums(
        "a",
        DAYS[first],
        transfers=sum(day.transfers for day in one),
        compliant_transfers=sum(day.compliant_transfers for day in one),
        flow_s=sum(day.flow_s for day in one),
        hookups=sum(day.hookups for day in one),
        known_s=sum(day.known_s for day in one),
        unknown_s=sum(day.unknown_s for day in one),
    )


def test_a_period_without_days_has_no_totals(store: Store) -> None:
    assert store.summaries.day_totals(dt.date(2030, 1, 1), dt.date(2030, 1, 2)) == []


def test_totals_of_one_station(store: Store) -> None:
    (row,) = store.summaries.day_totals(DAYS[0], DAYS[-1], "b")
    assert (row.station, row.transfers) == ("b", 14)


def test_findings_are_counted_by_kind_and_severity(store: Store) -> None:
    counted = store.summaries.finding_counts("a", 10 * S, 30 * S)
    assert sorted(counted, key=lambda c: (c.kind, c.severity)) == [
        FindingCount(Kind.CHATTERING, Severity.MINOR, 1),
        FindingCount(Kind.ITEM_ISOLATED, Severity.CRITICAL, 1),
        FindingCount(Kind.ITEM_ISOLATED, Severity.MAJOR, 1),
    ]


def test_trips_are_counted_by_class_and_cause(store: Store) -> None:
    counted = store.summaries.trip_counts("a", 0, 31 * S)
    assert sorted(counted, key=lambda c: c.trip_class) == [
        TripCount(TripClass.GENUINE, TripCause.CLAMP_OFF, 1),
        TripCount(TripClass.NUISANCE, TripCause.NO_LOSS_SEEN, 2),
    ]


def test_marks_of_days_are_summed_between_edges(store: Store) -> None:
    marks = store.summaries.day_marks([DAYS[1], DAYS[3], DAYS[6]], ["a", "nobody"])
    assert sorted(marks, key=lambda mark: mark.part) == [
        DayMark("a", 0, 4, 10.0 + 20.0, 2.0),
        DayMark("a", 1, 6, 30.0 + 40.0 + 50.0, 3.0),
    ]


def test_marks_of_findings_are_counted_between_edges(store: Store) -> None:
    marks = store.summaries.finding_marks([n * S for n in (10, 20, 26, 30)], ["a"])
    assert sorted(marks, key=lambda mark: (mark.part, mark.severity)) == [
        FindingMark("a", 0, Severity.MINOR, 1),
        FindingMark("a", 1, Severity.CRITICAL, 1),
        FindingMark("a", 1, Severity.MAJOR, 1),
        FindingMark("a", 2, Severity.MAJOR, 1),  # from 25 s to 30 s
    ]


HOUR = 3600


def lasting(kind: Kind, severity: Severity, start_s: int, end_s: int) -> Finding:
    return Finding(kind, severity, "c", None, start_s * S, end_s * S, "Seen.", {}, {})


LASTING = (
    lasting(Kind.ITEM_ISOLATED, Severity.CRITICAL, 10 * HOUR, 79 * HOUR),
    lasting(Kind.PERMISSIVE_WITHHELD, Severity.MAJOR, 10 * HOUR, 79 * HOUR),
    lasting(Kind.CHATTERING, Severity.MINOR, 24 * HOUR - 20, 24 * HOUR + 1),
    lasting(Kind.NUISANCE_TRIP, Severity.MINOR, 23 * HOUR, 24 * HOUR),
    lasting(Kind.FAILED_HOOKUP, Severity.MINOR, 24 * HOUR, 25 * HOUR),
)


@pytest.fixture
def days_long(store: Store) -> Store:
    """The store with a station of whose findings some last beyond a day."""
    store.save_results(StationResults("c", findings=LASTING), since=0, since_day=EARLY)
    return store


@pytest.mark.parametrize("width_s", [24 * HOUR, HOUR, 4 * HOUR - 15, 10])
def test_a_finding_marks_every_stretch_that_it_touches(days_long: Store, width_s: int) -> None:
    first = 20 * HOUR  # two began before, and one ends on an edge
    edges = [(first + n * width_s) * S for n in range(93)]
    expected = Counter(
        (part, found.severity)
        for part, (begin, end) in enumerate(itertools.pairwise(edges))
        for found in LASTING
        if found.start < end and max(found.end, found.start + 1) > begin
    )
    marks = days_long.summaries.finding_marks(edges, ["c"])
    assert {(m.part, m.severity): m.count for m in marks} == expected


def test_a_drift_marks_the_day_on_which_it_began(store: Store) -> None:
    drift = lasting(Kind.RESISTANCE_DRIFT, Severity.MINOR, 30 * HOUR, 900 * HOUR)
    found = StationResults("c", drift=(drift,))
    store.save_results(found, since=0, since_day=EARLY)
    edges = [n * 24 * HOUR * S for n in range(30)]
    assert [mark.part for mark in store.summaries.finding_marks(edges, ["c"])] == [1]


@pytest.mark.parametrize(
    ("at_s", "kinds"),
    [
        pytest.param(10 * HOUR, [], id="begins then"),
        pytest.param(10 * HOUR + 1, ["item_isolated", "permissive_withheld"], id="began before"),
        pytest.param(
            24 * HOUR, ["chattering", "item_isolated", "permissive_withheld"], id="a short one too"
        ),
        pytest.param(79 * HOUR, [], id="ends then"),
    ],
)
def test_what_goes_on_from_before(days_long: Store, at_s: int, kinds: list[str]) -> None:
    found = days_long.summaries.ongoing_findings("c", at_s * S)
    assert sorted(finding.kind for finding in found) == kinds
    counts = days_long.summaries.ongoing_counts(at_s * S)
    assert counts == ({"c": Counter(finding.severity for finding in found)} if kinds else {})


def test_what_goes_on_is_of_the_station_alone(days_long: Store) -> None:
    assert days_long.summaries.ongoing_findings("a", 24 * HOUR * S) == []


@pytest.mark.parametrize("parts", [1, 2, 3, 7, 92])
def test_every_stretch_gets_its_own_number(store: Store, parts: int) -> None:
    edges = [DAYS[0] + dt.timedelta(days=n) for n in range(parts + 1)]
    marks = store.summaries.day_marks(edges, ["a"])
    assert {m.part: m.known_s for m in marks} == {n: 10.0 * n for n in range(min(parts, 7))}


@pytest.mark.parametrize(
    ("limit", "starts"),
    [(1, [30]), (2, [30, 20]), (3, [30, 20, 10]), (9, [30, 20, 10])],
)
def test_the_latest_come_first(store: Store, limit: int, starts: list[int]) -> None:
    found = store.summaries.latest_hookups("a", 0, 100 * S, limit)
    assert [hookup.start // S for hookup in found] == starts


def test_the_latest_began_inside_the_span(store: Store) -> None:
    found = store.summaries.latest_hookups("a", 11 * S, 30 * S, 9)
    assert [hookup.start for hookup in found] == [20 * S]


@pytest.mark.parametrize(
    ("kinds", "severities", "starts"),
    [
        ([], [], [30, 25, 20, 10]),
        ([Kind.CHATTERING], [], [30, 10]),
        ([], [Severity.MAJOR, Severity.CRITICAL], [25, 20]),
        ([Kind.CHATTERING], [Severity.MAJOR], []),
    ],
)
def test_findings_are_narrowed_down(
    store: Store, kinds: list[Kind], severities: list[Severity], starts: list[int]
) -> None:
    asked = store.summaries
    found = asked.latest_findings("a", 0, 99 * S, 9, kinds=kinds, severities=severities)
    assert [finding.start // S for finding in found] == starts
