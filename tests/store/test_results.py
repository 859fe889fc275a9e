"""Results go in as the shared words' classes and come out the same, replaced window by window."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from sqlalchemy import text

from bondtrail.results import (
    RULES_VERSION,
    Alarm,
    AlarmKind,
    DaySums,
    Finding,
    Hookup,
    HookupCause,
    Kind,
    Outcome,
    Severity,
    StationResults,
    Transfer,
    Trip,
    TripCause,
    TripClass,
)
from bondtrail.samples import Samples
from store import Store, Touch

S = 10**9
T0 = 1_767_225_600 * S
DAY = dt.date(2026, 1, 1)
ALWAYS = {"since": 0, "since_day": dt.date.min}


def transfer(start: int, end: int, station: str = "rail-1") -> Transfer:
    return Transfer(
        station=station,
        start=T0 + start * S,
        end=T0 + end * S,
        flow_s=float(end - start),
        volume=812.5,
        unit="L",
        batch="B-7",
        product="toluene",
        operator=None,
        compliant=False,
        not_bonded_s=1.5,
        no_data_s=0.0,
        bypassed_s=0.25,
        not_bonded_volume=12.0,
        no_data_volume=0.0,
        bypassed_volume=None,
        trips=2,
        time_to_bond_s=None,
        bond_lead_s=-3.5,
        findings=("b", "a"),
    )


def hookup(start: int, end: int, station: str = "rail-1") -> Hookup:
    span = (T0 + start * S, T0 + end * S)
    return Hookup(station, *span, Outcome.FAILED, None, 11.5, 12.25, HookupCause.MARGINAL)


def trip(at: int, station: str = "rail-1") -> Trip:
    return Trip(
        station,
        T0 + at * S,
        f"{station}/x",
        TripClass.NUISANCE,
        TripCause.BRIEF_CONTACT_LOSS,
        True,
        0.4,
        None,
    )


def finding(
    start: int, end: int, station: str = "rail-1", kind: Kind = Kind.BOND_LOST_IN_FLOW
) -> Finding:
    return Finding(
        kind=kind,
        severity=Severity.CRITICAL,
        station=station,
        transfer=f"{station}/x",
        start=T0 + start * S,
        end=T0 + end * S,
        summary="Flow ran on for 7.5 s — at 55 Ω — after the bond was lost.",
        evidence={"zeta_s": 7.5, "alpha": 3, "open": np.inf, "after_work": True, "cause": None},
        limits={"stop_allowance_s": 5.0, "limit_ohm": 10.0},
    )


def alarm(start: int, end: int, station: str = "rail-1") -> Alarm:
    return Alarm(station, AlarmKind.BYPASS_ON, T0 + start * S, T0 + end * S)


def drift(start: int, end: int, station: str = "rail-1") -> Finding:
    found = finding(start, end, station, Kind.RESISTANCE_DRIFT)
    return replace(found, severity=Severity.MINOR, transfer=None)


def sums(day: int, station: str = "rail-1", shift: str | None = None) -> DaySums:
    return DaySums(
        station,
        DAY + dt.timedelta(days=day),
        shift,
        transfers=3,
        flow_s=12.5,
        trips={"nuisance/no_loss_seen": 2},
        findings={"chattering": 1},
        time_to_bond={1: 4, 250: 1},
    )


EVERYTHING = StationResults(
    "rail-1",
    (transfer(10, 20), transfer(30, 40)),
    (hookup(5, 25), hookup(28, 45)),
    (trip(15), trip(35)),
    (finding(12, 18), finding(31, 39)),
    (alarm(12, 18), alarm(31, 31)),
    (sums(0), sums(1)),
    (sums(0, shift=""), sums(0, shift="early"), sums(1, shift="early")),
    (drift(5, 45),),
)


def held(store: Store, station: str = "rail-1") -> StationResults:
    return StationResults(
        station,
        tuple(store.transfers(station)),
        tuple(store.hookups(station)),
        tuple(store.trips(station)),
        tuple(each for each in store.findings(station) if each.kind != Kind.RESISTANCE_DRIFT),
        tuple(store.alarms(station)),
        tuple(store.days(station)),
        tuple(store.shift_days(station)),
        tuple(store.findings(station, kind=Kind.RESISTANCE_DRIFT)),
    )


def test_results_come_out_as_they_went_in(store: Store) -> None:
    store.save_results(EVERYTHING, **ALWAYS)
    back = held(store)
    assert back == EVERYTHING
    assert repr(back) == repr(EVERYTHING)  # types and the order of evidence too


def test_numbers_of_numpy_are_stored_as_numbers(store: Store) -> None:
    odd = replace(
        finding(0, 2),
        evidence={"losses": np.int64(4), "low_ohm": np.float64(2.5), "so": np.bool_(True)},
    )
    store.save_results(
        StationResults(
            "rail-1",
            hookups=(replace(hookup(1, 2), start=np.int64(T0), lowest_ohm=np.float64(2.5)),),
            findings=(odd,),
        ),
        since=np.int64(0),
        since_day=DAY,
    )
    assert store.hookups()[0].start == store.findings()[0].start == T0
    assert store.findings()[0].evidence == {"losses": 4, "low_ohm": 2.5, "so": True}


@pytest.mark.parametrize(
    ("since", "until", "stay"),
    [
        pytest.param(0, None, [], id="all"),
        pytest.param(30, None, [0], id="since-is-in"),
        pytest.param(31, None, [0, 1], id="later"),
        pytest.param(10, 30, [1], id="until-is-out"),
        pytest.param(11, 30, [0, 1], id="between"),
    ],
)
def test_a_window_is_replaced(store: Store, since: int, until: int | None, stay: list[int]) -> None:
    everything = StationResults(
        "rail-1",
        (transfer(10, 20), transfer(30, 40)),
        (hookup(10, 25), hookup(30, 45)),
        (trip(10), trip(30)),
        (finding(10, 18), finding(30, 39)),
        (alarm(10, 18), alarm(30, 39)),
    )
    store.save_results(everything, **ALWAYS)
    store.save_results(
        StationResults("rail-1"),
        since=T0 + since * S,
        until=None if until is None else T0 + until * S,
        since_day=DAY,
    )
    back = held(store)
    for part in ("transfers", "hookups", "trips", "findings", "alarms"):
        assert getattr(back, part) == tuple(getattr(everything, part)[n] for n in stay)


@pytest.mark.parametrize(
    ("since", "until", "stay"),
    [(0, None, []), (1, None, [0]), (2, None, [0, 1]), (0, 1, [1])],
)
def test_days_are_replaced(store: Store, since: int, until: int | None, stay: list[int]) -> None:
    store.save_results(EVERYTHING, **ALWAYS)
    store.save_results(
        StationResults("rail-1"),
        since=T0 + 99 * S,
        since_day=DAY + dt.timedelta(days=since),
        until_day=None if until is None else DAY + dt.timedelta(days=until),
    )
    assert store.days() == [sums(day) for day in stay]
    assert [each.day for each in store.shift_days()] == [
        each.day for each in EVERYTHING.shifts if (each.day - DAY).days in stay
    ]


def test_other_stations_stay(store: Store) -> None:
    store.save_results(EVERYTHING, **ALWAYS)
    other = StationResults("rail-2", (transfer(1, 2, "rail-2"),), days=(sums(0, "rail-2"),))
    store.save_results(other, **ALWAYS)
    store.save_results(StationResults("rail-1"), **ALWAYS)
    assert held(store) == StationResults("rail-1", drift=EVERYTHING.drift)
    assert held(store, "rail-2") == replace(other, drift=())


@pytest.mark.parametrize(
    ("judged", "left"),
    [
        pytest.param(None, [drift(1, 60), drift(70, 90)], id="not-judged"),
        pytest.param((), [], id="none-now"),
        pytest.param((drift(1, 60),), [drift(1, 60)], id="one-less"),
        pytest.param((drift(2, 60),), [drift(2, 60)], id="another"),
        pytest.param((drift(1, 60), drift(70, 90)), [drift(1, 60), drift(70, 90)], id="the-same"),
        pytest.param((drift(1, 61), drift(70, 90)), [drift(1, 61), drift(70, 90)], id="grown"),
    ],
)
def test_drifts_are_replaced_whole_or_left_alone(
    store: Store, judged: tuple[Finding, ...] | None, left: list[Finding]
) -> None:
    both = (drift(1, 60), drift(70, 90))
    for station in ("rail-1", "rail-2"):
        theirs = tuple(replace(each, station=station) for each in both)
        store.save_results(StationResults(station, drift=theirs), **ALWAYS)
    store.save_results(
        StationResults("rail-1", findings=(finding(40, 50),), drift=judged),
        since=T0 + 30 * S,
        since_day=DAY,
        until=T0 + 60 * S,
    )
    assert store.findings("rail-1", kind=Kind.RESISTANCE_DRIFT) == left
    assert len(store.findings("rail-2")) == 2
    counted = store.summaries.episode_counts(0, 2 * T0)["rail-1"].findings
    assert counted == Counter([Severity.CRITICAL, *(each.severity for each in left)])


def test_a_count_that_no_column_holds_is_refused(store: Store) -> None:
    odd = replace(sums(0), findings={"resistance_drift": 1})
    with pytest.raises(
        ValueError, match=r"2026-01-01.*'resistance_drift'.*expected one of no_bond"
    ):
        store.save_results(StationResults("rail-1", days=(odd,)), **ALWAYS)
    assert store.days() == []


def test_what_cannot_be_saved_leaves_the_old_results(store: Store) -> None:
    store.save_results(EVERYTHING, **ALWAYS)
    twice = StationResults("rail-1", transfers=(transfer(1, 2), transfer(1, 2)))
    with pytest.raises(Exception, match="refused"):
        store.save_results(twice, **ALWAYS)
    assert held(store) == EVERYTHING


@pytest.mark.parametrize(
    ("start", "end", "seconds"),
    [
        pytest.param(None, None, [10, 30], id="all"),
        pytest.param(20, None, [30], id="ended-as-it-starts"),
        pytest.param(19, None, [10, 30], id="under-way-as-it-starts"),
        pytest.param(None, 30, [10], id="begins-as-it-ends"),
        pytest.param(15, 16, [10], id="in-the-midst"),
        pytest.param(20, 30, [], id="between"),
    ],
)
def test_episodes_that_overlap_a_span_are_returned(
    store: Store, start: int | None, end: int | None, seconds: list[int]
) -> None:
    spans = [(10, 20), (30, 40)]
    store.save_results(
        StationResults(
            "rail-1",
            tuple(transfer(*span) for span in spans),
            tuple(hookup(*span) for span in spans),
            findings=tuple(finding(*span) for span in spans),
            alarms=tuple(alarm(*span) for span in spans),
        ),
        **ALWAYS,
    )
    edges = [None if edge is None else T0 + edge * S for edge in (start, end)]
    for found in (store.transfers, store.hookups, store.findings, store.alarms):
        assert [(each.start - T0) // S for each in found("rail-1", *edges)] == seconds


def test_a_moment_is_in_a_span_from_its_start_to_before_its_end(store: Store) -> None:
    point = finding(10, 10)
    store.save_results(StationResults("rail-1", trips=(trip(10),), findings=(point,)), **ALWAYS)
    for start, end, expected in ((10, 11, 1), (9, 10, 0), (11, 12, 0), (5, 15, 1)):
        span = {"start": T0 + start * S, "end": T0 + end * S}
        assert (len(store.trips(**span)), len(store.findings(**span))) == (expected, expected)


def test_findings_are_chosen_and_in_order(store: Store) -> None:
    one = finding(10, 20, kind=Kind.UNBONDED_START)
    other = replace(finding(10, 20, kind=Kind.CHATTERING), severity=Severity.MINOR, transfer=None)
    store.save_results(StationResults("rail-1", findings=(one, other)), **ALWAYS)
    assert store.findings() == [other, one]
    assert store.findings(kind=Kind.UNBONDED_START) == [one]
    assert store.findings(severity="minor") == [other]
    assert store.findings(transfer="rail-1/x") == [one]
    assert store.findings("rail-2") == []


def test_a_transfer_is_found_by_its_id(store: Store) -> None:
    store.save_results(EVERYTHING, **ALWAYS)
    assert store.transfer("rail-1/20260101T000010.000Z") == transfer(10, 20)
    assert store.transfer("rail-1/20260101T000011.000Z") is None


def test_transfers_are_chosen_by_whether_they_are_compliant(store: Store) -> None:
    good, bad = replace(transfer(10, 20), compliant=True), transfer(30, 40)
    store.save_results(replace(EVERYTHING, transfers=(good, bad)), **ALWAYS)
    assert store.transfers(compliant=True) == [good]
    assert store.transfers("rail-1", T0 + 15 * S, T0 + 35 * S, compliant=False) == [bad]


def test_days_are_chosen_by_first_and_last(store: Store) -> None:
    store.save_results(EVERYTHING, **ALWAYS)
    store.save_results(StationResults("rail-2", days=(sums(0, "rail-2"),)), **ALWAYS)
    assert store.days() == [sums(0), sums(1), sums(0, "rail-2")]
    assert store.days(first=DAY + dt.timedelta(days=1)) == [sums(1)]
    assert store.days("rail-1", last=DAY) == [sums(0)]


def test_shifts_are_chosen_by_first_and_last(store: Store) -> None:
    store.save_results(EVERYTHING, **ALWAYS)
    store.save_results(StationResults("rail-2", shifts=(sums(0, "rail-2", "late"),)), **ALWAYS)
    assert store.shift_days() == [*EVERYTHING.shifts, sums(0, "rail-2", "late")]
    assert store.shift_days(first=DAY + dt.timedelta(days=1)) == [sums(1, shift="early")]
    assert [each.shift for each in store.shift_days("rail-1", last=DAY)] == ["", "early"]


def test_alarms_are_in_order(store: Store) -> None:
    one, other = alarm(5, 9), replace(alarm(5, 7), kind=AlarmKind.BOND_LOST)
    store.save_results(StationResults("rail-2", alarms=(alarm(5, 6, "rail-2"),)), **ALWAYS)
    store.save_results(StationResults("rail-1", alarms=(one, other, alarm(3, 4))), **ALWAYS)
    assert store.alarms() == [alarm(3, 4), other, one, alarm(5, 6, "rail-2")]


def test_the_last_day_of_a_station_is_told(store: Store) -> None:
    assert store.last_day("rail-1") is None
    store.save_results(EVERYTHING, **ALWAYS)
    assert store.last_day("rail-1") == DAY + dt.timedelta(days=1)


def test_results_are_plain_rows_for_any_tool(store: Store) -> None:
    store.save_results(EVERYTHING, **ALWAYS)
    query = """
        select f.kind, f.seconds, t.volume, t.compliant, d.flow_s, r.cause, h.median_ohm,
            d.trip_no_loss_seen, d.finding_chattering, d.alarm_bond_lost, d.time_to_bond
        from finding f join transfer t on t.station = f.station and t.start_ns <= f.start_ns
        join day d on d.station = t.station join trip r on r.station = t.station
        join hookup h on h.station = t.station
        where f.kind <> 'resistance_drift'
        order by f.start_ns, t.start_ns, d.day, r.time_ns, h.start_ns limit 1
    """
    with store._db.reading() as tx:
        row = tx.conn.execute(text(query)).one()
    episodes = ("bond_lost_in_flow", 6.0, 812.5, False, 12.5, "brief_contact_loss", 12.25)
    assert tuple(row) == (*episodes, 2, 1, 0, "1:4 250:1")


def mark(store: Store) -> Touch | None:
    return store.touched().get("rail-1")


def test_saving_takes_the_mark_away(store: Store) -> None:
    store.touch("rail-1", T0)
    store.save_results(EVERYTHING, **ALWAYS, touch=mark(store))
    assert mark(store) is None


def test_saving_without_a_mark_seen_leaves_it(store: Store) -> None:
    store.touch("rail-1", T0)
    store.save_results(EVERYTHING, **ALWAYS)
    assert mark(store) == Touch(T0, 1)


def test_saving_moves_the_mark_to_where_work_is_left(store: Store) -> None:
    store.touch("rail-1", T0)
    store.save_results(EVERYTHING, **ALWAYS, touch=mark(store), still_since=T0 + 40 * S)
    assert mark(store) == Touch(T0 + 40 * S, 1)


@pytest.mark.parametrize("still_since", [None, T0 + 40 * S])
def test_data_that_came_meanwhile_keep_the_mark(store: Store, still_since: int | None) -> None:
    store.touch("rail-1", T0 + 9 * S)
    seen = mark(store)
    store.write({"rail-1.flow": Samples.of([T0 + 20 * S], [1.0])})
    store.save_results(EVERYTHING, **ALWAYS, touch=seen, still_since=still_since)
    assert mark(store).since == T0 + 9 * S


def test_results_older_than_what_another_settled_are_marked_again(store: Store) -> None:
    store.touch("rail-1", T0 + 9 * S)
    seen = mark(store)
    store.write({"rail-1.flow": Samples.of([T0 + 20 * S], [1.0])})
    store.save_results(EVERYTHING, **ALWAYS, touch=mark(store))
    assert mark(store) is None
    store.save_results(EVERYTHING, **ALWAYS, touch=seen)
    assert mark(store).since == T0 + 9 * S


def test_it_is_known_by_which_rules_findings_were_judged(store: Store) -> None:
    assert store.rules_of_findings() == set()
    store.save_results(EVERYTHING, **ALWAYS)
    assert store.rules_of_findings() == {RULES_VERSION}


def test_a_mark_that_went_and_came_is_another(store: Store) -> None:
    store.touch("rail-1", T0)
    seen = mark(store)
    store.save_results(EVERYTHING, **ALWAYS, touch=seen)
    store.touch("rail-1", T0 + S)
    store.save_results(EVERYTHING, **ALWAYS, touch=seen)
    assert mark(store).since == T0


def test_touching_moves_a_mark_back_only(store: Store) -> None:
    for moment, since in ((T0, T0), (T0 + S, T0), (T0 - S, T0 - S)):
        store.touch("rail-1", moment)
        assert store.touched()["rail-1"].since == since
