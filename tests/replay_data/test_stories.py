"""An analysis of the demo finds its stories, and nothing that nobody told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import pytest

from analytics.core.drift import ResistanceTrend, Shape, forecast
from bondtrail.results import Finding, Kind, Outcome, Severity, StationResults, TripClass
from bondtrail.site import Site
from bondtrail.times import local_day
from replay_data import bays, dryer
from replay_data.shifts import MINUTE, march
from replay_data.stories import SMALL_CHANGE, STORIES, Expected, Row

Results = Mapping[str, StationResults]
Findings = Mapping[str, list[Finding]]
Trends = Mapping[str, list[ResistanceTrend]]

EVERY = [
    pytest.param(row, id=f"{row.station}-{row.name}-{row.first}")
    for row in (*(row for story in STORIES for row in story.expected), *SMALL_CHANGE)
]


def _rows(results: StationResults, findings: list[Finding], row: Row) -> Iterator[tuple[str, int]]:
    """Yield (name, moment) of everything of one sort."""
    if row is Row.FINDING:
        yield from ((str(finding.kind), finding.start) for finding in findings)
    elif row is Row.ALARM:
        yield from ((str(alarm.kind), alarm.start) for alarm in results.alarms)
    elif row is Row.TRIP:
        yield from ((f"{trip.trip_class}/{trip.cause}", trip.time) for trip in results.trips)
    else:
        yield from (
            (str(hookup.cause), hookup.start)
            for hookup in results.hookups
            if hookup.outcome is Outcome.FAILED
        )


@pytest.mark.parametrize("expected", EVERY)
def test_a_story_is_found(
    expected: Expected, results: Results, findings: Findings, site: Site
) -> None:
    station = expected.station
    count = sum(
        name == expected.name and expected.first <= local_day(moment, site.zone) <= expected.last
        for name, moment in _rows(results[station], findings[station], expected.row)
    )
    assert expected.least <= count <= expected.most


def test_nothing_else_is_found(findings: Findings, site: Site) -> None:
    told = [*(row for story in STORIES for row in story.expected), *SMALL_CHANGE]
    untold = [
        finding.id
        for station in findings.values()
        for finding in station
        if not any(_tells(row, finding, site) for row in told)
    ]
    assert untold == []


def _tells(row: Expected, finding: Finding, site: Site) -> bool:
    return (
        row.row is Row.FINDING
        and (row.station, row.name) == (finding.station, finding.kind)
        and row.first <= local_day(finding.start, site.zone) <= row.last
    )


def _only(results: StationResults, kind: Kind) -> Finding:
    (finding,) = [finding for finding in results.findings if finding.kind is kind]
    return finding


def test_the_worn_clamp_rises_towards_its_limit(results: Results) -> None:
    bonded = [
        hookup.median_ohm
        for hookup in results["rail-2"].hookups
        if hookup.outcome is Outcome.VERIFIED and hookup.median_ohm is not None
    ]
    week = len(bonded) // 4
    first, last = sorted(bonded[:week]), sorted(bonded[-week:])
    assert 2.2 < first[len(first) // 2] < 3.5
    assert 7 < last[len(last) // 2] < 10


def test_the_worn_clamp_drifts_to_its_limit_within_weeks(trends: Trends, site: Site) -> None:
    (trend,) = trends["rail-2"]
    assert trend.kind is Shape.DRIFT
    assert trend.hookups >= 20
    reached = forecast(trend, site.station("rail-2").limits.limit_ohm)
    assert None not in (reached.earliest, reached.days, reached.latest)
    assert 5 < reached.earliest < reached.days < reached.latest < 30


def test_the_changed_contacts_are_a_step_and_no_drift(trends: Trends) -> None:
    step, after = trends["road-4"]
    assert step.kind is Shape.STEP
    assert step.test.p_value < 1e-6, "a rise from week to week, to who looks at nothing else"
    since = (step.change.at - bays.CONTACTS_CHANGED * 1_000_000) / 1e9
    assert 0 <= since < 12 * 3600
    assert 1.3 < step.change.before_ohm < 2.2
    assert 4 < step.change.after_ohm < 5
    assert after.kind is Shape.NONE


RISEN = ("rail-2", "road-4")


def test_no_other_station_drifts_or_steps(trends: Trends) -> None:
    others = {station: found for station, found in trends.items() if station not in RISEN}
    assert len(others) > 10
    assert {trend.kind for found in others.values() for trend in found} == {Shape.NONE}


def test_the_new_clamp_begins_a_lower_trend_and_trips_less(
    results: Results, trends: Trends
) -> None:
    worn, new = trends["drum-1"]
    assert worn.start < bays.CLAMP.end * 1_000_000 <= new.start
    assert new.level_ohm < 0.7 * worn.level_ohm
    fills, trips = ([0, 0], [0, 0])
    for transfer in results["drum-1"].transfers:
        fills[transfer.start >= bays.CLAMP.end * 1_000_000] += 1
    for trip in results["drum-1"].trips:
        if trip.trip_class is TripClass.NUISANCE:
            trips[trip.time >= bays.CLAMP.end * 1_000_000] += 1
    assert 0.6 < fills[1] / fills[0] < 1.2
    assert trips[0] / fills[0] > 5 * trips[1] / fills[1] > 0


def test_the_hose_down_is_a_flood_at_one_position_and_harms_nothing(
    results: Results, findings: Findings, site: Site
) -> None:
    desk = [station.id for station in site.stations if station.position == "Powder desk"]
    begin = (dryer.WASH_DOWN.start + 3 * MINUTE) * 1_000_000
    for period in range(2):  # of ten minutes
        start = begin + period * 600 * 10**9
        alarms = [
            alarm
            for station in desk
            for alarm in results[station].alarms
            if start <= alarm.start < start + 600 * 10**9
        ]
        assert len(alarms) > 20
    monday = [
        f
        for station in desk
        for f in findings[station]
        if local_day(f.start, site.zone) == march(30)
    ]
    assert monday == []


def test_the_strap_left_off_is_critical_and_after_work(results: Results) -> None:
    finding = _only(results["dryer-sieve"], Kind.ITEM_ISOLATED)
    assert finding.severity is Severity.CRITICAL
    assert finding.evidence["after_work"] is True
    assert finding.seconds > 2.5 * 86_400


def test_the_inspected_silo_is_isolated_but_not_critical(results: Results) -> None:
    assert _only(results["silo-2"], Kind.ITEM_ISOLATED).severity is Severity.MAJOR


def test_the_slow_valve_grows_slower_while_others_stop_in_time(results: Results) -> None:
    slow = [trip.stop_s for trip in results["road-1"].trips if trip.stop_s is not None]
    assert slow == sorted(slow)
    assert 7 <= slow[0] <= slow[-1] <= 10
    others = [
        trip.stop_s
        for station, found in results.items()
        for trip in found.trips
        if station != "road-1" and trip.stop_s is not None
    ]
    assert max(others) < 3


def test_the_transfer_without_a_bond_is_one_tanker_of_toluene(results: Results) -> None:
    finding = _only(results["road-2"], Kind.NO_BOND_TRANSFER)
    (transfer,) = [one for one in results["road-2"].transfers if one.id == finding.transfer]
    assert transfer.product == "toluene"
    assert transfer.unit == "L"
    assert transfer.volume == pytest.approx(19_400, rel=0.05)
    assert transfer.not_bonded_s == transfer.flow_s
    assert not any(
        found.kind is Kind.NO_BOND_TRANSFER
        for station, others in results.items()
        if station != "road-2"
        for found in others.findings
    )


def test_worn_clamp_trips_are_marked_marginal(results: Results) -> None:
    late = [trip for trip in results["rail-2"].trips if trip.marginal]
    assert len(late) >= 2


def test_the_clock_change_leaves_no_transfer_and_no_finding(results: Results, site: Site) -> None:
    quiet = [
        day for found in results.values() for day in found.days if str(day.day) == "2026-03-29"
    ]
    assert len(quiet) == len(site.stations)
    assert all(day.transfers == 0 and not day.findings for day in quiet)


def test_most_transfers_have_a_ticket(results: Results) -> None:
    transfers = [one for found in results.values() for one in found.transfers]
    assert sum(one.batch is not None for one in transfers) > 0.9 * len(transfers)
    assert any(one.batch is None for one in transfers)


def test_the_readme_counts_right(results: Results) -> None:
    """Nine drums in the bypass night, a dozen monitor trips, 41 minutes of sieve, 47 s of flow."""
    night = {f.transfer for f in results["drum-3"].findings if f.kind is Kind.BYPASSED_FLOW}
    assert len(night) == 9
    assert _only(results["drum-3"], Kind.BOND_LOST_IN_FLOW).seconds == pytest.approx(47, abs=0.5)
    assert sum(f.kind is Kind.NUISANCE_TRIP for f in results["rail-3"].findings) == 12
    assert _only(results["dryer-sieve"], Kind.UNBONDED_START).seconds // 60 == 41
    assert _only(results["road-2"], Kind.NO_BOND_TRANSFER).seconds // 60 == 16


def test_the_readme_counts_the_old_clamp_and_the_hose_down_right(results: Results) -> None:
    """22 nuisance trips before the new clamp and 2 after, 88 alarms under the hose."""
    trips = [t.time for t in results["drum-1"].trips if t.trip_class is TripClass.NUISANCE]
    before = sum(time < bays.CLAMP.end * 1_000_000 for time in trips)
    assert (before, len(trips) - before) == (22, 2)
    starts = [
        alarm.start
        for item in dryer.WASHED
        for alarm in results[item].alarms
        if dryer.WASH_DOWN.holds(alarm.start // 1_000_000)
    ]
    assert len(starts) == 88
    assert max(starts) - min(starts) < 30 * 60 * 10**9
