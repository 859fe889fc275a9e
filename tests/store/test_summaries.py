"""Sums and latest rows, asked of the database: the same on SQLite and PostgreSQL."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

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
    open_store,
)

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


@pytest.fixture
def store(store_url: str) -> Iterator[Store]:
    with open_store(store_url) as opened:
        for station in ("a", "b"):
            opened.save_results(results(station), since=0, since_day=EARLY)
        yield opened


def test_the_span_of_days(store: Store) -> None:
    assert store.summaries.day_span() == (DAYS[0], DAYS[-1])


def test_an_empty_store_has_no_days_and_no_sums(store_url: str) -> None:
    with open_store(store_url) as store:
        asked = store.summaries
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
    ]


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
