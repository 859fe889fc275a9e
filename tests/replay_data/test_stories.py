"""An analysis of the demo finds its stories, and nothing that nobody told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import pytest

from bondtrail.results import Finding, Kind, Outcome, Severity, StationResults
from bondtrail.site import Site
from bondtrail.times import local_day
from replay_data.stories import SMALL_CHANGE, STORIES, Expected, Row

Results = Mapping[str, StationResults]

EVERY = [
    pytest.param(row, id=f"{row.station}-{row.name}-{row.first}")
    for row in (*(row for story in STORIES for row in story.expected), *SMALL_CHANGE)
]


def _rows(results: StationResults, row: Row) -> Iterator[tuple[str, int]]:
    """Yield (name, moment) of everything of one sort."""
    if row is Row.FINDING:
        yield from ((str(finding.kind), finding.start) for finding in results.findings)
    elif row is Row.TRIP:
        yield from ((f"{trip.trip_class}/{trip.cause}", trip.time) for trip in results.trips)
    else:
        yield from (
            (str(hookup.cause), hookup.start)
            for hookup in results.hookups
            if hookup.outcome is Outcome.FAILED
        )


@pytest.mark.parametrize("expected", EVERY)
def test_a_story_is_found(expected: Expected, results: Results, site: Site) -> None:
    count = sum(
        name == expected.name and expected.first <= local_day(moment, site.zone) <= expected.last
        for name, moment in _rows(results[expected.station], expected.row)
    )
    assert expected.least <= count <= expected.most


def test_nothing_else_is_found(results: Results, site: Site) -> None:
    told = [*(row for story in STORIES for row in story.expected), *SMALL_CHANGE]
    untold = [
        finding.id
        for station in results.values()
        for finding in station.findings
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
