"""Which transfers were compliant, over all stations: the same on SQLite and PostgreSQL."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from bondtrail.results import (
    RULES_VERSION,
    DaySums,
    Finding,
    Kind,
    Severity,
    StationResults,
    Transfer,
)
from store import Allowed, Store
from tests.store.keeping import Kept

S = 1_000_000_000
EARLY = dt.date(1970, 1, 1)
DAYS = [dt.date(2025, 12, 30) + dt.timedelta(days=n) for n in range(6)]
AFTER = DAYS[-1] + dt.timedelta(days=1)


def finding(station: str, start_s: int, kind: Kind, of: str | None) -> Finding:
    span = (start_s * S, (start_s + 5) * S)
    return Finding(kind, Severity.MAJOR, station, of, *span, "Seen.", {}, {})


def transfer(station: str, start_s: int, *kinds: Kind) -> Transfer:
    ids = tuple(finding(station, start_s, kind, None).id for kind in kinds)
    times = (start_s * S, (start_s + 60) * S)
    nothing = (None, None, None, None)
    good = not set(kinds) - {Kind.NUISANCE_TRIP}
    return Transfer(station, *times, 60.0, *nothing, None, good, 0.0, 0.0, 0.0, None, None, None,
                    0, None, None, ids)  # fmt: skip


def sums(station: str, number: int, shift: str | None = None) -> DaySums:
    return DaySums(
        station,
        DAYS[number],
        shift,
        transfers=4,
        compliant_transfers=3 if number else 4,
        flow_s=10.5,
        trips={"nuisance/no_loss_seen": number},
        time_to_bond={40: 1},
    )


def results(station: str) -> StationResults:
    rows = (
        transfer(station, 100),
        transfer(station, 200, Kind.UNVERIFIABLE_FLOW),
        transfer(station, 300, Kind.BOND_LOST_IN_FLOW, Kind.BYPASSED_FLOW, Kind.NUISANCE_TRIP),
        transfer(station, 400, Kind.NUISANCE_TRIP),
    )
    days = range(len(DAYS))
    return StationResults(
        station,
        transfers=rows,
        findings=(
            finding(station, 200, Kind.UNVERIFIABLE_FLOW, rows[1].id),
            finding(station, 310, Kind.BYPASSED_FLOW, rows[2].id),
            finding(station, 360, Kind.BOND_LOST_IN_FLOW, rows[2].id),
            finding(station, 320, Kind.NUISANCE_TRIP, rows[2].id),
            finding(station, 500, Kind.CHATTERING, None),
        ),
        days=tuple(sums(station, n) for n in days),
        shifts=tuple(sums(station, n, shift) for n in days for shift in ("day", "")),
    )


def fill(store: Store) -> None:
    for station in ("a", "b"):
        store.save_results(results(station), since=0, since_day=EARLY)


@pytest.fixture
def store(kept_store: Kept) -> Store:
    """A store with the results of two stations."""
    return kept_store.holding("compliances", fill)


@pytest.mark.parametrize(
    ("edges", "stations", "shift", "expected"),
    [
        pytest.param([DAYS[0], DAYS[1], AFTER], None, None, [(8, 8), (40, 30)], id="days"),
        pytest.param([DAYS[0], DAYS[2], AFTER], None, None, [(16, 14), (32, 24)], id="months"),
        pytest.param([DAYS[0], AFTER], ["b"], None, [(24, 19)], id="one-station"),
        pytest.param([DAYS[0], AFTER], [], None, [(0, 0)], id="no-station"),
        pytest.param([DAYS[0], AFTER], None, "day", [(48, 38)], id="a-shift"),
        pytest.param([DAYS[0], AFTER], None, "", [(48, 38)], id="outside-the-shifts"),
        pytest.param([DAYS[0], AFTER], None, "night", [(0, 0)], id="no-such-shift"),
        pytest.param([AFTER, AFTER.replace(day=9)], None, None, [(0, 0)], id="nothing-there"),
    ],
)
def test_transfers_are_counted_by_stretch(
    store: Store,
    edges: list[dt.date],
    stations: list[str] | None,
    shift: str | None,
    expected: list[tuple[int, int]],
) -> None:
    found = store.compliances.counts(edges, stations, shift)
    assert [row.part for row in found] == list(range(len(edges) - 1))
    assert [(row.transfers, row.compliant) for row in found] == expected


def test_counts_agree_with_the_sums_of_everything(store: Store) -> None:
    whole = store.summaries.sums([DAYS[0], AFTER])
    (row,) = store.compliances.counts([DAYS[0], AFTER])
    assert row.transfers == sum(each.sums.transfers for each in whole)
    assert row.compliant == sum(each.sums.compliant_transfers for each in whole)


def test_sums_by_station_leave_out_histograms_alone(store: Store) -> None:
    found = store.compliances.sums(DAYS[0], DAYS[-1])
    assert [row.station for row in found] == ["a", "b"]
    assert (found[0].day, found[0].shift) == (DAYS[0], None)
    assert (found[0].transfers, found[0].compliant_transfers) == (24, 19)
    assert found[0].flow_s == pytest.approx(63.0)
    assert found[0].trips == {"nuisance/no_loss_seen": 15}
    assert found[0].time_to_bond == {}


def test_sums_by_shift(store: Store) -> None:
    found = store.compliances.sums(DAYS[0], DAYS[1], ["a"], shifts=True)
    assert [(row.shift, row.transfers) for row in found] == [("", 8), ("day", 8)]


def test_shifts_of_all_stations(store: Store) -> None:
    assert store.compliances.by_shift(DAYS[0], DAYS[-1]) == {"day": (48, 38), "": (48, 38)}
    assert store.compliances.by_shift(DAYS[1], DAYS[1], ["a"]) == {"day": (4, 3), "": (4, 3)}


def test_failing_transfers_come_by_start_with_what_speaks_against_them(store: Store) -> None:
    found = store.compliances.failing(0, 1000 * S)
    assert [(row.station, row.start // S) for row in found] == [
        ("a", 200),
        ("b", 200),
        ("a", 300),
        ("b", 300),
    ]
    assert found[0].kinds == {Kind.UNVERIFIABLE_FLOW}
    assert found[2].kinds == {Kind.BOND_LOST_IN_FLOW, Kind.BYPASSED_FLOW}
    assert found[0].id == transfer("a", 200).id


@pytest.mark.parametrize(
    ("start", "end", "stations", "expected"),
    [
        pytest.param(200, 300, None, 2, id="half-open"),
        pytest.param(201, 300, None, 0, id="after-the-start"),
        pytest.param(200, 301, ["b"], 2, id="one-station"),
        pytest.param(0, 1000, [], 0, id="no-station"),
    ],
)
def test_a_failing_transfer_counts_where_it_began(
    store: Store, start: int, end: int, stations: list[str] | None, expected: int
) -> None:
    assert len(store.compliances.failing(start * S, end * S, stations)) == expected


def test_what_is_found_after_the_end_of_a_span_counts_too(store: Store) -> None:
    (row,) = store.compliances.failing(300 * S, 301 * S, ["a"])
    assert row.kinds == {Kind.BOND_LOST_IN_FLOW, Kind.BYPASSED_FLOW}


def test_transfers_and_their_findings_by_name(store: Store) -> None:
    ids = [transfer("b", 300).id, transfer("a", 200).id, "a/never"]
    assert [row.station for row in store.compliances.transfers(ids)] == ["a", "b"]
    assert [row.kind for row in store.compliances.findings(ids)] == [
        Kind.UNVERIFIABLE_FLOW,
        Kind.BYPASSED_FLOW,
        Kind.NUISANCE_TRIP,
        Kind.BOND_LOST_IN_FLOW,
    ]
    assert store.compliances.transfers([]) == store.compliances.findings([]) == []


def test_more_names_than_one_question_takes(store: Store) -> None:
    ids = [f"a/{n}" for n in range(2000)] + [transfer("a", 100).id]
    assert [row.start for row in store.compliances.transfers(ids)] == [100 * S]


def test_an_empty_store_has_nothing(kept_store: Kept) -> None:
    empty = kept_store.empty()
    assert empty.compliances.sums(DAYS[0], DAYS[-1]) == []
    assert empty.compliances.by_shift(DAYS[0], DAYS[-1]) == {}
    assert empty.compliances.failing(0, 1000) == []


def ran(
    start_s: int, flow_s: float, not_bonded_s: float, no_data_s: float, *kinds: Kind
) -> Transfer:
    row = transfer("c", start_s, *kinds)
    return replace(row, flow_s=flow_s, not_bonded_s=not_bonded_s, no_data_s=no_data_s)


def test_what_rests_on_the_allowances_is_counted(store: Store) -> None:
    rows = (
        ran(100, 60.0, 0.0, 0.0),
        ran(200, 60.0, 1.5, 0.0),
        ran(300, 60.0, 1.0, 4.0),
        ran(400, 10.0, 0.0, 10.0),
        ran(500, 60.0, 9.0, 60.0, Kind.UNVERIFIABLE_FLOW),  # not compliant
        ran(600, 60.0, 1.0, 1.0),  # later
    )
    found = StationResults("c", transfers=rows)
    store.save_results(found, since=0, since_day=EARLY)
    assert store.compliances.allowed(0, 600 * S) == Allowed(2, 2.5, 2, 14.0, 1)
    assert store.compliances.allowed(250 * S, 600 * S, ["c"]) == Allowed(1, 1.0, 2, 14.0, 1)
    assert store.compliances.allowed(0, 600 * S, ["a"]) == Allowed()


def test_rules_are_those_of_the_findings_of_the_span(store: Store) -> None:
    older = replace(finding("c", 100, Kind.CHATTERING, None), rules="1")
    store.save_results(StationResults("c", findings=(older,)), since=0, since_day=EARLY)
    assert store.compliances.rules(0, 1000 * S) == {"1", RULES_VERSION}
    assert store.compliances.rules(150 * S, 1000 * S) == {RULES_VERSION}
    assert store.compliances.rules(0, 1000 * S, ["c"]) == {"1"}
    assert store.compliances.rules(2000 * S, 3000 * S) == set()
