"""One station judged from its samples: the facts of the trade, and trips in particular."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from analytics.core.station import examine, find_trips, judge
from bondtrail.results import (
    Alarm,
    AlarmKind,
    Kind,
    StationResults,
    TripCause,
    TripClass,
    WorkWindow,
)
from bondtrail.samples import Samples
from bondtrail.site import Role, Shift
from tests.analytics.core.build import (
    BAD,
    GAP,
    OPEN,
    Stretch,
    case,
    held,
    ns,
    station,
    told,
)

ZONE = ZoneInfo("Europe/Lisbon")
HOUR = 3600
Told = dict[str, list[Stretch]]


def judged(reported: Told, *, kind: str = "rail_tank_car", **how: Any) -> StationResults:
    signals = told(**reported)
    given = {name: how.pop(name) for name in ("work", "tickets", "rosters", "end") if name in how}
    return judge(station(*signals, kind=kind, **how), signals, zone=ZONE, **given)


# What is common practice in this trade.


@pytest.mark.parametrize(
    ("ohm", "compliant"),
    [
        pytest.param(10.0, True, id="common-practice-10-ohm-is-still-a-bond"),
        pytest.param(10.01, False, id="common-practice-above-10-ohm-is-none"),
    ],
)
def test_ten_ohm_is_the_limit_for_metal_paths(ohm: float, compliant: bool) -> None:
    results = judged({"resistance": [(60, ohm)], "flow": [(5, 0), (40, 60), (15, 0)]})
    (transfer,) = results.transfers
    assert transfer.compliant is compliant
    assert [finding.kind for finding in results.findings] == (
        [] if compliant else ["failed_hookup", "no_bond_transfer"]
    )


def test_common_practice_flow_stops_as_the_clamp_comes_off_and_may_restart_once_it_is_back() -> (
    None
):
    results = judged(
        {
            "resistance": [(5, OPEN), (45, 2.0), (20, OPEN), (50, 2.0), (10, OPEN)],
            "permissive": [(6, 0), (44.5, 1), (20.5, 0), (49, 1), (10, 0)],
            "flow": [(10, 0), (42, 60), (28, 0), (30, 60), (20, 0)],
        }
    )
    (transfer,) = results.transfers
    assert (transfer.start, transfer.end) == (ns(10), ns(110))
    assert (transfer.flow_s, transfer.volume) == (72.0, 72.0)
    assert (transfer.compliant, transfer.not_bonded_s) == (True, 2.0)
    (trip,) = results.trips
    assert (trip.trip_class, trip.cause) == (TripClass.GENUINE, TripCause.CLAMP_OFF)
    assert (trip.time, trip.transfer) == (ns(50.5), transfer.id)
    # Lost at 50 s and back at 70 s; flow was off at 52 s.
    assert (trip.loss_s, trip.stop_s) == (20.0, 2.0)
    assert results.findings == ()
    assert [(hookup.start, hookup.end) for hookup in results.hookups] == [
        (ns(5), ns(50)),
        (ns(70), ns(120)),
    ]


def test_common_practice_item_found_isolated_after_its_strap_was_left_off_at_reassembly() -> None:
    # Opened for a clean-down, bonded while it was inspected, put together without its strap.
    signals = {
        Role.RESISTANCE: held((5 * HOUR, 2.0), (9 * HOUR, OPEN), (HOUR, 2.0), every_s=60),
        Role.RUNNING: held((6 * HOUR, 0), (8 * HOUR, 1), (HOUR, 0), every_s=60),
    }
    place = station(*signals, kind="fixed_item", stale_s=60)
    work = [WorkWindow("spot", ns(2 * HOUR), ns(4 * HOUR), "clean-down")]
    results = judge(place, signals, zone=ZONE, work=work)
    isolated = [finding for finding in results.findings if finding.kind == "item_isolated"]
    assert [(f.start, f.end, f.severity) for f in isolated] == [
        (ns(5 * HOUR), ns(14 * HOUR), "critical")
    ]
    assert isolated[0].evidence["after_work"] is True
    assert isolated[0].evidence["running_s"] == 8 * HOUR
    assert results.hookups == ()


# Trips.


def trip_of(reported: Told, **limits: float) -> tuple[str, str, float, float | None, float | None]:
    """Class, cause, second, seconds of loss and seconds to stop of the only trip."""
    (trip,) = find_trips(case(told(**reported), until=60, **limits))
    return str(trip.trip_class), str(trip.cause), trip.time / 1e9, trip.loss_s, trip.stop_s


TRIPPED: Told = {"permissive": [(30, 1), (30, 0)], "flow": [(32, 60), (28, 0)]}
"""The permissive opens at 30 s, flow is off at 32 s; brief is below 2 s."""


@pytest.mark.parametrize(
    ("resistance", "expected"),
    [
        pytest.param(
            [(29, 2.0), (2, OPEN), (29, 2.0)], ("genuine", "clamp_off", 30, 2, 3), id="clamp-off"
        ),
        pytest.param(
            [(29, 2.0), (2, 40.0), (29, 2.0)],
            ("genuine", "high_resistance", 30, 2, 3),
            id="high-for-exactly-brief",
        ),
        pytest.param(
            [(29, 2.0), (1, OPEN), (30, 2.0)],
            ("nuisance", "brief_contact_loss", 30, 1, 3),
            id="brief-loss",
        ),
        pytest.param([(60, 2.0)], ("nuisance", "no_loss_seen", 30, None, None), id="no-loss-seen"),
        pytest.param(
            [(28, 2.0), (1, BAD), (31, 2.0)],
            ("nuisance", "monitor_fault", 30, None, None),
            id="bad-data",
        ),
        pytest.param(
            [(20, 2.0), (20, GAP), (20, 2.0)],
            ("undetermined", "no_data", 30, None, None),
            id="unknown-throughout",
        ),
        pytest.param(
            [(31, 2.0), (29, OPEN)], ("genuine", "clamp_off", 30, 29, 1), id="lost-after-the-trip"
        ),
        pytest.param(
            [(32, 2.0), (28, OPEN)], ("genuine", "clamp_off", 30, 28, 0), id="lost-as-flow-stops"
        ),
        pytest.param(
            [(33, 2.0), (27, OPEN)],
            ("nuisance", "no_loss_seen", 30, None, None),
            id="lost-only-after-the-stop",
        ),
        pytest.param(
            [(25, OPEN), (35, 2.0)],
            ("nuisance", "no_loss_seen", 30, None, None),
            id="away-until-just-before-the-evidence",
        ),
    ],
)
def test_what_was_behind_a_trip(
    resistance: list[Stretch], expected: tuple[str, str, float, float | None, float | None]
) -> None:
    assert trip_of({**TRIPPED, "resistance": resistance}) == expected


def test_a_loss_before_the_run_began_did_not_take_time_to_stop() -> None:
    reported: Told = {
        "resistance": [(20, 2.0), (40, OPEN)],
        "permissive": [(30, 1), (30, 0)],
        "flow": [(25, 0), (7, 60), (28, 0)],
    }
    assert trip_of(reported, transfer_min_s=5) == ("genuine", "clamp_off", 30, 40, None)


def test_without_a_permissive_a_verified_bond_lost_before_flow_stops_is_a_trip() -> None:
    reported: Told = {"resistance": [(30, 2.0), (30, 40.0)], "flow": [(32, 60), (28, 0)]}
    assert trip_of(reported) == ("genuine", "high_resistance", 30, 30, 2)


def test_without_a_permissive_a_bond_never_verified_trips_nothing() -> None:
    reported: Told = {
        "resistance": [(29, OPEN), (1, 2.0), (30, OPEN)],
        "flow": [(32, 60), (28, 0)],
    }
    assert find_trips(case(told(**reported), until=60)) == []


def test_flow_that_stops_by_itself_is_no_trip() -> None:
    reported: Told = {
        "resistance": [(60, 2.0)],
        "permissive": [(50, 1), (10, 0)],
        "flow": [(32, 60), (28, 0)],
    }
    assert find_trips(case(told(**reported), until=60)) == []


@pytest.mark.parametrize(
    ("ohm", "marginal"),
    [
        pytest.param(15.0, True, id="exactly-marginal"),
        pytest.param(15.01, False, id="just-above"),
    ],
)
def test_a_trip_in_the_marginal_band(ohm: float, marginal: bool) -> None:
    reported: Told = {**TRIPPED, "resistance": [(29, 2.0), (31, ohm)]}
    (trip,) = find_trips(case(told(**reported), until=60))
    assert (trip.cause, trip.marginal) == (TripCause.HIGH_RESISTANCE, marginal)


def test_two_runs_of_one_transfer_may_both_be_tripped() -> None:
    reported: Told = {
        "resistance": [(60, 2.0)],
        "permissive": [(20, 1), (10, 0), (20, 1), (10, 0)],
        "flow": [(21, 60), (10, 0), (20, 60), (9, 0)],
    }
    trips = find_trips(case(told(**reported), until=60))
    assert [trip.time for trip in trips] == [ns(20), ns(50)]
    assert len({trip.transfer for trip in trips}) == 1


# The whole.


@pytest.mark.parametrize(
    "signals",
    [
        pytest.param({}, id="no-signals"),
        pytest.param({Role.RESISTANCE: Samples.empty()}, id="no-samples"),
    ],
)
def test_of_nothing_nothing_is_said(signals: dict[Role, Samples]) -> None:
    results = judge(station(Role.RESISTANCE), signals, zone=ZONE)
    assert results == StationResults("spot", drift=())


GOOD: Told = {
    "resistance": [(5, OPEN), (45, 2.0), (10, OPEN)],
    "flow": [(8, 0), (30, 60), (22, 0)],
}


@pytest.mark.parametrize(
    ("end_s", "transfer_end"),
    [
        pytest.param(None, 38, id="no-end"),
        pytest.param(99, 38, id="an-end-after-all"),
        pytest.param(30, 30, id="in-the-midst"),
        pytest.param(8, None, id="as-flow-begins"),
    ],
)
def test_nothing_is_said_of_what_comes_after_the_end(
    end_s: float | None, transfer_end: float | None
) -> None:
    end = None if end_s is None else ns(end_s)
    results = judged(GOOD, end=end, transfer_min_s=1)
    ends = [transfer.end for transfer in results.transfers]
    assert ends == ([] if transfer_end is None else [ns(transfer_end)])
    known = sum(day.known_s for day in results.days)
    assert known == min(60, end_s or 60)


@pytest.mark.parametrize("end_s", [0, -5])
def test_an_end_before_the_first_sample_leaves_nothing(end_s: float) -> None:
    assert judged(GOOD, end=ns(end_s)) == StationResults("spot", drift=())


def test_every_part_is_in_order_of_time() -> None:
    results = judged(
        {
            "resistance": [(5, OPEN), (10, 2.0), (5, OPEN)] * 6,
            "permissive": [(5, 0), (8, 1), (7, 0)] * 6,
            "flow": [(7, 0), (7, 60), (6, 0)] * 6,
        },
        transfer_min_s=5,
        resume_within_s=1,
        release_wait_s=3,
    )
    starts = [
        [item.start for item in part]
        for part in (results.transfers, results.hookups, results.findings)
    ]
    for times in (*starts, [trip.time for trip in results.trips]):
        assert len(times) >= 6
        assert times == sorted(times)
    assert len({finding.id for finding in results.findings}) == len(results.findings)


def test_equal_input_gives_equal_results() -> None:
    assert judged(GOOD) == judged(GOOD)


def test_limits_decide() -> None:
    assert judged(GOOD).transfers[0].compliant
    assert not judged(GOOD, limit_ohm=1.0).transfers[0].compliant
    assert judged(GOOD, transfer_min_s=31).transfers == ()


def test_alarms_of_a_station_are_those_of_its_transfers_and_mismatches() -> None:
    signals = told(
        resistance=[(30, 2.0), (30, OPEN)],
        permissive=[(40, 1), (20, 0)],
        bypass=[(10, 0), (50, 1)],
        flow=[(32, 60), (28, 0)],
    )
    alarms = examine(station(*signals), signals, (0, ns(60))).episodes.alarms
    assert [(str(alarm.kind), alarm.start, alarm.end) for alarm in alarms] == [
        ("bypass_on", ns(10), ns(60)),
        ("bond_lost", ns(30), ns(32)),
        ("disagreement", ns(30), ns(40)),
    ]


def test_alarms_are_told() -> None:
    (alarm,) = judged({**GOOD, "bypass": [(20, 0), (40, 1)]}).alarms
    assert alarm == Alarm("spot", AlarmKind.BYPASS_ON, ns(20), ns(60))


def test_without_shifts_no_day_is_told_in_parts() -> None:
    assert judged(GOOD).shifts == ()
    assert judged(GOOD, rosters=[(0, ())]).shifts == ()


def test_where_there_ever_was_a_shift_every_day_is_told_in_parts() -> None:
    # 1970-01-01 was a Thursday; clocks in Lisbon were an hour ahead of UTC.
    roster = (Shift("early", dt.time(1), dt.time(13)),)
    never = judged(GOOD, rosters=[(0, ()), (ns(7 * 86_400), roster)])
    assert [(row.shift, row.known_s) for row in never.shifts] == [("", 60.0)]
    begun = judged(GOOD, rosters=[(0, ()), (ns(20), roster)])
    assert [(row.shift, row.known_s) for row in begun.shifts] == [("", 20.0), ("early", 40.0)]
    assert [row.transfers for row in begun.shifts] == [1, 0]


def test_resistance_that_rises_from_hookup_to_hookup_is_told() -> None:
    ohms = [4.0 + day / 8 for day in range(30)]
    shape = [(8 * HOUR, OPEN), (HOUR, 0.0), (15 * HOUR, OPEN)]
    days = [(lasts, ohm if what == 0.0 else what) for ohm in ohms for lasts, what in shape]
    signals = {Role.RESISTANCE: held(*days, every_s=60)}
    place = station(Role.RESISTANCE, stale_s=60)
    (drift,) = judge(place, signals, zone=ZONE).drift or ()
    assert (drift.kind, drift.start) == (Kind.RESISTANCE_DRIFT, ns(8 * HOUR))
    assert drift.end == ns(29 * 24 * HOUR + 9 * HOUR)
    assert drift.evidence["hookups"] == 30
    assert drift.limits["limit_ohm"] == 10.0
    results = judge(place, signals, zone=ZONE)
    assert results.findings == ()
    assert not any(day.findings for day in results.days)


def test_resistance_that_stays_is_not() -> None:
    assert judged(GOOD).drift == ()
