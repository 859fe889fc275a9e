"""From a store to a replay: what happened, by which limits, and what it lies beside."""

from __future__ import annotations

import sqlite3

import numpy as np
import pytest

from analytics.core.electrostatics.hazard import Hazard, NoEstimate
from analytics.core.electrostatics.spread import Level
from analytics.core.events import Basis, Event, What
from analytics.replay import Replay, UnknownSpanError, replay_at, replay_span, replay_transfer
from analytics.runs import analyse
from bondtrail.results import Kind
from bondtrail.samples import Samples
from bondtrail.site import Role, parse_site
from store import Store, open_store
from tests.analytics.replay.spot import BAD, FIRST, FLOWS, GOOD, HOUR, LOST, NOW, S, fill, site


@pytest.fixture
def bad(spot: Store) -> Replay:
    return replay_transfer(spot, BAD, now=NOW)


def told(replay: Replay) -> list[tuple[float, What]]:
    """What happened, in seconds since the first flow."""
    assert replay.transfer is not None
    zero = replay.transfer.start
    return [((event.time - zero) / S, event.what) for event in replay.events]


def only(replay: Replay, what: What) -> Event:
    (event,) = [event for event in replay.events if event.what is what]
    return event


STORY = [
    (-70, What.AT_START),
    (-70, What.LIMITS),
    (-70, What.TICKET_GOING_ON),
    (-60, What.CONTACT),
    (-57, What.BOND_LOW),
    (-56, What.VERIFIED),
    (-55.7, What.PERMISSIVE_CLOSED),
    (-40, What.WORK_ON),
    (-10, What.WORK_OVER),
    (0, What.FLOW_ON),
    (200, What.BOND_LOST),
    (200, What.CLAMP_OFF),
    (200, What.FINDING),
    (202.3, What.PERMISSIVE_OPENED),
    (202.3, What.TRIP),
    (209, What.FLOW_OFF),
]


def test_a_transfer_is_told_from_clamp_on_to_flow_off(bad: Replay) -> None:
    assert told(bad) == STORY


def test_every_event_says_what_it_rests_on(bad: Replay) -> None:
    inferred = {event.what for event in bad.events if event.basis is Basis.INFERRED}
    assert inferred == {What.VERIFIED, What.CLAMP_OFF, What.FINDING, What.TRIP}
    assert all(event.basis is not Basis.MISSING for event in bad.events)


def test_order_is_certain_where_the_points_are_quick_enough(bad: Replay) -> None:
    """The permissive is looked at ten times a second, the bond once."""
    unsure = [event.what for event in bad.events if not event.order_certain]
    # Closed 0.3 s after a verified moment that may lie a second earlier: it follows it surely.
    assert unsure == []
    closed = only(bad, What.PERMISSIVE_CLOSED)
    assert closed.since == closed.time - S // 10


def test_clocks_of_devices_that_may_differ_leave_their_order_open(spot: Store) -> None:
    """The permissive opens 2.3 s after the loss; flow goes off within a second of 8 s later."""
    wary = parse_site(site().text.replace("[limits]", "clock_error_s = 2.25\n[limits]"))
    spot.put_site(wary, FLOWS[7])
    replay = replay_transfer(spot, BAD, now=NOW)
    assert replay.clocks.endswith("to within 2.25 s (clock_error_s).")
    unsure = [event.what for event in replay.events if not event.order_certain]
    assert unsure == [What.PERMISSIVE_CLOSED, What.PERMISSIVE_OPENED, What.TRIP]
    assert len(replay.held) == 2
    assert What.LIMITS_CHANGED not in {event.what for event in replay.events}


def test_figures_stand_beside_each_event(bad: Replay) -> None:
    lost, off = only(bad, What.BOND_LOST), only(bad, What.FLOW_OFF)
    assert lost.flow == 807
    assert lost.volume == pytest.approx(807 / 60 * 200, abs=1e-6)
    assert bad.transfer is not None
    assert off.volume == pytest.approx(bad.transfer.volume, abs=1e-6)
    assert off.detail == "after 3 min 29 s, 2,811 L so far"
    assert only(bad, What.CONTACT).ohm == 40
    assert only(bad, What.FINDING).finding is bad.findings[0]


def test_work_tickets_and_limits_are_told_in_words(bad: Replay) -> None:
    assert only(bad, What.WORK_ON).detail == "clamp jaws cleaned"
    assert only(bad, What.TICKET_GOING_ON).detail == (
        "batch B-7, product toluene, operator J. Invented; began 3 min 50 s before"
    )
    assert only(bad, What.LIMITS).detail.startswith("low up to 10 ohm, open from 100 kohm")


def test_a_replay_holds_what_belongs_to_its_span(bad: Replay) -> None:
    assert bad.transfer is not None
    assert (bad.station.id, bad.site.id, bad.product_name) == ("rail-1", "quay", "toluene")
    assert bad.product is not None
    assert bad.product.mie_mJ == 0.24
    assert [finding.kind for finding in bad.findings] == [Kind.BOND_LOST_IN_FLOW]
    assert len(bad.trips) == len(bad.hookups) == len(bad.work) == len(bad.tickets) == 1
    assert (bad.damaged, bad.waiting) == ([], False)
    assert [held.since for held in bad.held] == [bad.start]
    assert set(bad.signals) == {Role.RESISTANCE, Role.PERMISSIVE, Role.FLOW}


def test_the_charge_is_estimated_over_the_span(bad: Replay) -> None:
    assert isinstance(bad.hazard, Hazard)
    high = bad.hazard.figures[Level.HIGH]
    assert high.first_over_mie is not None
    assert LOST <= high.first_over_mie < LOST + 9 * S
    assert bad.hazard.unseen


def meter(store: Store, *stretches: tuple[int, int, float]) -> None:
    """Readings of flow every second, from and until a second of the minutes since `FIRST`."""
    for start, end, rate in stretches:
        time = np.arange(FIRST + start * S, FIRST + end * S, S)
        store.write({"rail-1.flow": Samples.of(time, np.full(time.size, rate))})


@pytest.mark.parametrize(
    ("before", "note"),
    [
        pytest.param(True, "Flow was unknown for 60 s in which it may have run", id="heard-before"),
        pytest.param(False, "Flow was unknown for 60 s away from any flow on record", id="never"),
    ],
)
def test_unknown_flow_is_supposed_since_the_meter_was_first_heard_of(
    store: Store, before: bool, note: str
) -> None:
    """The span begins in a silence of the meter, which ends with flow."""
    store.put_site(site(), 0)
    time = np.arange(FIRST, FIRST + 200 * S, S)
    store.write({"rail-1.resistance": Samples.of(time, np.full(time.size, 3.0))})
    meter(store, (0, 20, 0.0), (100, 200, 800.0)) if before else meter(store, (100, 200, 800.0))
    found = replay_span(store, "rail-1", FIRST + 40 * S, FIRST + 180 * S, now=NOW).hazard
    assert isinstance(found, Hazard)
    assert found.notes[0].startswith(note)


def test_a_form_of_the_current_may_be_asked_for(spot: Store, bad: Replay) -> None:
    one = replay_transfer(spot, BAD, now=NOW, form="crowl_louvar").hazard
    assert isinstance(one, Hazard)
    spread = one.inputs["streaming_coefficient"]
    assert spread.low == spread.high
    assert isinstance(bad.hazard, Hazard)
    assert bad.hazard.inputs["streaming_coefficient"].low < spread.low
    with pytest.raises(ValueError, match="no_such_form"):
        replay_transfer(spot, BAD, now=NOW, form="no_such_form")


def test_it_first_differs_where_the_bond_is_lost(bad: Replay) -> None:
    assert bad.typical is not None
    assert bad.typical.product == "toluene"
    assert bad.typical.transfers == tuple(GOOD)
    first = bad.typical.first_difference
    assert first is not None
    assert first.moment == LOST
    assert first.name in ("clamp_off_after_s", "resistance_ohm", "lowest_ohm", "median_ohm")
    by_name = {each.name: each for each in bad.typical.comparisons}
    assert by_name["flow_s"].median == 603
    assert (by_name["flow_s"].low, by_name["flow_s"].high) == (600, 606)
    assert by_name["flow_s"].differs is True
    assert by_name["bond_lead_s"].differs is False
    assert set(bad.typical.courses) == {Role.RESISTANCE, Role.FLOW}


def test_an_early_transfer_has_too_few_before_it(spot: Store) -> None:
    typical = replay_transfer(spot, GOOD[3], now=NOW).typical
    assert typical is not None
    assert typical.transfers == tuple(GOOD[:3])
    assert typical.first_difference is None
    assert {each.differs for each in typical.comparisons} == {None}
    assert typical.courses == {}


@pytest.mark.parametrize("second", [0, 100, 208.9])
def test_a_moment_in_a_transfer_is_of_that_transfer(spot: Store, second: float) -> None:
    found = replay_at(spot, "rail-1", FLOWS[7] + round(second * S), now=NOW)
    assert found.transfer is not None
    assert found.transfer.id == BAD


def test_a_moment_in_no_transfer_is_shown_with_five_minutes_beside_it(spot: Store) -> None:
    moment = FLOWS[7] + 1200 * S
    found = replay_at(spot, "rail-1", moment, now=NOW)
    assert found.transfer is None
    assert found.typical is None
    assert (found.start, found.end) == (moment - 300 * S, moment + 300 * S)
    assert found.product_name == "toluene"


def test_any_span_is_told(spot: Store) -> None:
    found = replay_span(spot, "rail-1", FLOWS[6], FLOWS[7] + HOUR, now=NOW)
    assert found.transfer is None
    assert [event.what for event in found.events].count(What.FLOW_OFF) == 2
    assert found.events[0].what is What.AT_START
    assert "flow on" in found.events[0].detail


def test_a_bond_that_is_verified_as_the_span_begins_is_told_so(spot: Store) -> None:
    """The hold was served long before: nothing becomes verified a second into the span."""
    found = replay_span(spot, "rail-1", FLOWS[6] + 100 * S, FLOWS[6] + 200 * S, now=NOW)
    assert found.events[0].detail == "bond verified, permissive closed, flow on"
    assert [event.what for event in found.events[1:]] == [What.LIMITS, What.TICKET_GOING_ON]
    assert found.now.is_verified.all()
    assert (found.now.edges[0], found.now.edges[-1]) == (found.start, found.end)


@pytest.mark.parametrize("second", [0, 0.4, 0.999])
def test_a_hold_that_is_being_served_as_the_span_begins_goes_on(spot: Store, second: float) -> None:
    low = FLOWS[6] - 57 * S
    found = replay_span(spot, "rail-1", low + round(second * S), low + 60 * S, now=NOW)
    assert [event.time for event in found.events if event.what is What.VERIFIED] == [low + S]


def test_a_span_ends_with_what_is_known(spot: Store) -> None:
    last = max(end for _, end in spot.readings().values())
    found = replay_span(spot, "rail-1", FLOWS[7], FLOWS[7] + 24 * HOUR, now=last - HOUR)
    assert found.end == last + 1


@pytest.mark.parametrize(
    ("ask", "message", "remedy"),
    [
        pytest.param(
            lambda store: replay_transfer(store, "rail-1/x", now=NOW),
            "no transfer rail-1/x",
            "bondtrail show transfers",
            id="no-such-transfer",
        ),
        pytest.param(
            lambda store: replay_at(store, "rail-9", FIRST, now=NOW),
            "names a station rail-9",
            "bondtrail show points",
            id="no-such-station",
        ),
        pytest.param(
            lambda store: replay_at(store, "rail-2", FIRST, now=NOW),
            "rail-2: nothing is recorded at all",
            "load",
            id="a-station-without-readings",
        ),
        pytest.param(
            lambda store: replay_at(store, "rail-1", FIRST - 30 * 24 * HOUR, now=NOW),
            "rail-1: nothing is recorded from 2026-01-31",
            "from 2026-03-02 07:30:00 to",
            id="before-its-readings",
        ),
        pytest.param(
            lambda store: replay_at(store, "rail-1", -(2**63) + 1, now=NOW),
            "rail-1: nothing is recorded",
            "its readings go from",
            id="centuries-ago",
        ),
        pytest.param(
            lambda store: replay_at(store, "rail-1", 2**63 - 1, now=2**63 - 1),
            "rail-1: nothing is recorded",
            "its readings go from",
            id="centuries-ahead",
        ),
        pytest.param(
            lambda store: replay_span(store, "rail-1", FIRST, FIRST + 800 * HOUR, now=NOW),
            "the span is 33.3 days long: a replay takes 7 days at most",
            "name a shorter one",
            id="too-long",
        ),
        pytest.param(
            lambda store: replay_span(store, "rail-1", FIRST, FIRST + 168 * HOUR + 1, now=NOW),
            "the span is more than 7 days long",
            "name a shorter one",
            id="just-too-long",
        ),
        pytest.param(
            lambda store: replay_at(store, "rail-1", NOW + 24 * HOUR, now=NOW),
            "yet to come",
            "",
            id="after-now",
        ),
    ],
)
def test_what_cannot_be_replayed_says_why(
    spot: Store, ask: object, message: str, remedy: str
) -> None:
    with pytest.raises(UnknownSpanError, match=message) as caught:
        ask(spot)  # type: ignore[operator]
    assert remedy in caught.value.remedy


def test_a_span_must_end_after_its_start(spot: Store) -> None:
    with pytest.raises(ValueError, match="must end after its start"):
        replay_span(spot, "rail-1", FIRST, FIRST, now=NOW)


def test_an_empty_store_knows_no_transfer(store: Store) -> None:
    with pytest.raises(UnknownSpanError):
        replay_transfer(store, BAD, now=NOW)
    with pytest.raises(UnknownSpanError):
        replay_at(store, "rail-1", FIRST, now=NOW)


def test_later_limits_are_not_applied_to_a_transfer_that_began_before(spot: Store) -> None:
    spot.put_site(site(limit_ohm=3.0), FLOWS[7] + 100 * S)  # the bond is 3.7 ohm
    analyse(spot, now=NOW)
    found = replay_transfer(spot, BAD, now=NOW)
    assert [
        (e.time - FLOWS[7], e.detail) for e in found.events if e.what is What.LIMITS_CHANGED
    ] == [(100 * S, "limit_ohm 10 to 3")]
    assert [(at, what) for at, what in told(found) if what is not What.LIMITS_CHANGED] == STORY
    assert found.station.limits.limit_ohm == 10
    assert [held.since for held in found.held] == [found.start, FLOWS[7] + 100 * S]


def test_a_span_is_read_by_the_limits_of_each_day_in_it(spot: Store) -> None:
    """The clamp that was on when the limit fell is judged by the old one, the next by the new."""
    spot.put_site(site(limit_ohm=3.0), FLOWS[6] + 100 * S)  # 3.6 ohm then, 3.7 ohm after it
    analyse(spot, now=NOW)
    found = replay_span(spot, "rail-1", FLOWS[6] - 120 * S, FLOWS[7] + 100 * S, now=NOW)
    lows = [event.time for event in found.events if event.what is What.BOND_LOW]
    assert lows == [FLOWS[6] - 57 * S]
    contacts = [event.time for event in found.events if event.what is What.CONTACT]
    assert contacts == [FLOWS[6] - 60 * S, FLOWS[7] - 60 * S]


def test_limits_that_came_later_are_not_told(spot: Store) -> None:
    spot.put_site(site(limit_ohm=3.0), FLOWS[7] + HOUR)
    found = replay_transfer(spot, BAD, now=NOW)
    assert What.LIMITS_CHANGED not in {event.what for event in found.events}
    assert len(found.held) == 1


def test_readings_that_wait_for_an_analysis_are_told(spot: Store) -> None:
    spot.write({"rail-1.flow": Samples.of([FLOWS[7] + 10 * S + 1], [800.0])})
    found = replay_transfer(spot, BAD, now=NOW)
    assert found.waiting
    assert "results" in {missing.about for missing in found.missing}


def test_damage_is_told_and_the_rest_is_replayed(spot: Store) -> None:
    spot.fold()
    file = spot.where.removeprefix("sqlite:///")
    with sqlite3.connect(file) as connection:
        (point,) = connection.execute(
            "select id from point where name = 'rail-1.resistance'"
        ).fetchone()
        connection.execute(
            "update segment set checksum = checksum + 1 where point_id = ?", (point,)
        )
    found = replay_transfer(spot, BAD, now=NOW)
    assert len(found.damaged) == 1
    assert "is damaged" in found.damaged[0]
    assert (Role.RESISTANCE, found.start, found.end) in {
        (missing.about, missing.start, missing.end) for missing in found.missing
    }
    assert What.FLOW_ON in {event.what for event in found.events}


def test_a_station_that_another_one_s_readings_do_not_touch(spot: Store, bad: Replay) -> None:
    spot.write({"rail-2.flow": Samples.of([FLOWS[7], FLOWS[7] + 60 * S], [800.0, 0.0])})
    again = replay_transfer(spot, BAD, now=NOW)
    assert again.events == bad.events
    assert again.missing == bad.missing


def test_without_flow_or_pipe_there_is_no_estimate_and_the_rest_is_told(spot: Store) -> None:
    bare = site().text.replace("pipe_diameter_m = 0.1\n", "")
    spot.put_site(parse_site(bare), FLOWS[7] - HOUR // 2)
    found = replay_transfer(spot, BAD, now=NOW)
    assert isinstance(found.hazard, NoEstimate)
    assert told(found) == STORY


def test_postgresql_says_the_same(postgres_url: str, bad: Replay) -> None:
    with open_store(postgres_url) as store:
        fill(store)
        again = replay_transfer(store, BAD, now=NOW)
    assert again.events == bad.events
    assert again.missing == bad.missing
    assert again.typical is not None
    assert bad.typical is not None
    assert again.typical.comparisons == bad.typical.comparisons
    assert again.transfer == bad.transfer
