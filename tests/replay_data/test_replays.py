"""The stories of the demo, told again event by event."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import pytest

from analytics.core.events import Basis, Event, What
from analytics.core.sequence import sequence
from bondtrail.results import Finding, Kind, StationResults, Transfer, TripCause, WorkWindow
from bondtrail.samples import Samples
from bondtrail.site import Role, Site, Station
from bondtrail.times import NS_PER_S, nanoseconds

Results = Mapping[str, StationResults]
Tell = Callable[[str, int, int], list[Event]]

MARGIN_NS = 120 * NS_PER_S


def signals_of(
    station: Station, recorded: Mapping[str, Samples], span: tuple[int, int]
) -> dict[Role, Samples]:
    signals = {}
    for role, point in station.points.items():
        raw = recorded[point.aliases[0]]
        part = raw.between(span[0] - nanoseconds(point.stale_after_s), span[1])
        signals[role] = Samples(part.time, part.value * point.scale, part.quality)
    return signals


@pytest.fixture
def tell(
    site: Site,
    recorded: Mapping[str, Samples],
    results: Results,
    work_of: Mapping[str, list[WorkWindow]],
) -> Tell:
    def events(station_id: str, start: int, end: int) -> list[Event]:
        station, found = site.station(station_id), results[station_id]
        span = start - MARGIN_NS, end + MARGIN_NS
        return sequence(
            station,
            signals_of(station, recorded, span),
            span,
            trips=found.trips,
            findings=[f for f in found.findings if f.start < span[1] and f.end > span[0]],
            work=work_of[station_id],
            counted_from=start,
            clock_error_s=site.clock_error_s,
        )

    return events


def times(events: list[Event], what: What) -> list[int]:
    return [event.time for event in events if event.what is what]


def findings_of(results: Results, station: str, kind: Kind) -> list[Finding]:
    return [finding for finding in results[station].findings if finding.kind is kind]


def transfer_of(results: Results, finding: Finding) -> Transfer:
    (found,) = [t for t in results[finding.station].transfers if t.id == finding.transfer]
    return found


def test_every_transfer_is_told_with_its_flow_its_trips_and_its_volume(
    results: Results, tell: Tell
) -> None:
    for station, found in results.items():
        for transfer in found.transfers[::30]:
            events = tell(station, transfer.start, transfer.end)
            assert transfer.start in times(events, What.FLOW_ON), transfer.id
            ends = [e for e in events if e.time == transfer.end and e.what is What.FLOW_OFF]
            if ends and transfer.volume is not None:
                assert ends[0].volume == pytest.approx(transfer.volume, abs=0.01), transfer.id
            trips = [trip.time for trip in found.trips if trip.transfer == transfer.id]
            assert set(trips) <= set(times(events, What.TRIP)), transfer.id


def test_the_slow_valve_lets_flow_run_on_after_the_clamp_is_off(
    results: Results, tell: Tell
) -> None:
    """Looked at four times a second, bond, permissive and flow are told apart surely.

    Clocks that agree to within 50 ms are part of that, and said so in the site file.
    """
    for finding in findings_of(results, "road-1", Kind.BOND_LOST_IN_FLOW):
        events = tell("road-1", finding.start, finding.end)
        chain = [
            event
            for event in events
            if finding.start <= event.time <= finding.end
            and event.what in (What.BOND_LOST, What.PERMISSIVE_OPENED, What.TRIP, What.FLOW_OFF)
        ]
        assert [event.what for event in chain] == [
            What.BOND_LOST,
            What.PERMISSIVE_OPENED,
            What.TRIP,
            What.FLOW_OFF,
        ]
        assert all(event.order_certain for event in chain)
        assert 7 <= (chain[3].time - chain[0].time) / NS_PER_S <= 10


def test_without_a_word_on_how_often_contacts_are_looked_at_the_order_is_open(
    site: Site, recorded: Mapping[str, Samples], results: Results
) -> None:
    """The same losses by a site file without intervals: a contact may have opened long before."""
    station = site.station("road-1")
    silent = {
        role: point.model_copy(update={"interval_s": None})
        for role, point in station.points.items()
    }
    for finding in findings_of(results, "road-1", Kind.BOND_LOST_IN_FLOW):
        span = finding.start - MARGIN_NS, finding.end + MARGIN_NS
        events = sequence(
            station.model_copy(update={"points": silent}), signals_of(station, recorded, span), span
        )
        (opened,) = [
            event
            for event in events
            if event.what is What.PERMISSIVE_OPENED and finding.start < event.time < finding.end
        ]
        assert not opened.order_certain
        assert opened.since is not None
        assert opened.since < finding.start


def test_the_transfer_without_a_bond_never_has_one(results: Results, tell: Tell) -> None:
    (finding,) = findings_of(results, "road-2", Kind.NO_BOND_TRANSFER)
    transfer = transfer_of(results, finding)
    events = tell("road-2", transfer.start, transfer.end)
    flowing = [event for event in events if transfer.start <= event.time < transfer.end]
    assert What.VERIFIED not in {event.what for event in flowing}
    assert finding in [event.finding for event in flowing]


def test_in_the_bypass_night_the_key_is_in_before_the_flow(results: Results, tell: Tell) -> None:
    for finding in findings_of(results, "drum-3", Kind.BYPASSED_FLOW):
        transfer = transfer_of(results, finding)
        events = tell("drum-3", transfer.start, transfer.end)
        turned = [time for time in times(events, What.BYPASS_ON) if time <= finding.start]
        assert turned or "bypass on" in events[0].detail


def test_the_silent_network_is_missing_and_not_an_unbonded_bay(
    results: Results, tell: Tell
) -> None:
    for bay in ("road-1", "road-2", "road-3", "road-4"):
        finding = findings_of(results, bay, Kind.UNVERIFIABLE_FLOW)[0]
        events = tell(bay, finding.start, finding.end)
        (unknown,) = [e for e in events if e.what is What.BOND_UNKNOWN and e.time == finding.start]
        assert unknown.basis is Basis.MISSING
        assert unknown.detail.startswith("resistance: silent, last reading")
        assert unknown.since is not None
        assert unknown.since < unknown.time


def test_the_faulty_module_shows_as_a_fault_beside_each_of_its_trips(
    results: Results, tell: Tell
) -> None:
    trips = [t for t in results["rail-3"].trips if t.cause is TripCause.MONITOR_FAULT]
    assert trips
    for trip in trips:
        faults = times(tell("rail-3", trip.time, trip.time), What.FAULT_ON)
        assert any(abs(trip.time - fault) < 10 * NS_PER_S for fault in faults)


def test_the_strap_left_off_is_found_open_after_a_silence(
    results: Results, work_of: Mapping[str, list[WorkWindow]], tell: Tell
) -> None:
    """The monitor was off for the work: when within it the strap came off is not known."""
    (finding,) = findings_of(results, "dryer-sieve", Kind.ITEM_ISOLATED)
    events = tell("dryer-sieve", finding.start, finding.start + 60 * NS_PER_S)
    (found,) = [event for event in events if event.what is What.BOND_KNOWN]
    assert (found.time, found.detail) == (finding.start, "open, open circuit")
    assert found.since is None, "no reading of this span tells"
    assert times(events, What.CLAMP_OFF) == []
    at_work = {w.what for w in work_of["dryer-sieve"] if w.start <= finding.start < w.end}
    told = [event.detail for event in events if event.what is What.WORK_GOING_ON]
    assert told == [f"{what}; began 5 h 38 min before" for what in at_work]
    assert at_work
