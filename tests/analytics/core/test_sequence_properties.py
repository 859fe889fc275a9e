"""What holds of the sequence of events of any record."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.core.events import TOLD_AS, Basis, Event, What
from analytics.core.runs import Contact
from analytics.core.sequence import sequence
from analytics.core.situation import situation
from analytics.core.volumes import FlowMeter
from bondtrail.samples import Samples
from bondtrail.site import Role
from tests.analytics.core.build import BAD, GAP, OPEN, held, ns, station

UNTIL = ns(120)
VALUES: dict[Role, list[float | str]] = {
    Role.RESISTANCE: [3.0, 9.0, 30.0, 5000.0, OPEN, GAP, BAD],
    Role.STATUS: [0, 1, 2, 3, GAP, BAD],
    Role.PERMISSIVE: [0, 1, GAP, BAD],
    Role.FLOW: [0, 3, 200, 800, GAP, BAD],
    Role.RUNNING: [0, 1, GAP],
    Role.BYPASS: [0, 1, GAP],
}
WHERE = station(*VALUES, stale_s=3.0)


@st.composite
def records(draw: st.DrawFn) -> dict[Role, Samples]:
    signals = {}
    for role, values in VALUES.items():
        stretch = st.tuples(st.integers(1, 25), st.sampled_from(values))
        every_s = draw(st.sampled_from([0.5, 1.0, 2.0]))
        start = draw(st.integers(0, 7)) / 8
        stretches = draw(st.lists(stretch, max_size=8))
        good = held(*stretches, start=start, every_s=every_s)
        uncertain = draw(st.sampled_from([(), (), (1,), (0, 1, 4)]))  # of each five in a row
        quality = np.where(np.isin(np.arange(len(good)) % 5, uncertain), 1, 0).astype(np.uint8)
        signals[role] = Samples(good.time, good.value, np.maximum(good.quality, quality))
    return signals


def events_of(signals: dict[Role, Samples]) -> list[Event]:
    return sequence(WHERE, signals, (0, UNTIL))


@given(records())
@settings(max_examples=20, deadline=None)
def test_events_are_in_order_and_within_the_span(signals: dict[Role, Samples]) -> None:
    events = events_of(signals)
    assert [event.what for event in events[:2]] == [What.AT_START, What.LIMITS]
    keys = [(event.time, TOLD_AS[event.what]) for event in events]
    assert keys == sorted(keys)
    assert all(0 <= event.time < UNTIL for event in events)


@given(records())
@settings(max_examples=20, deadline=None)
def test_a_change_is_never_seen_before_it_may_have_been_so(signals: dict[Role, Samples]) -> None:
    for event in events_of(signals):
        if event.since is None:
            continue
        assert event.role is not None
        assert event.since < event.time
        inside = signals[event.role].between(event.since, event.time)
        # A good reading is the bound and none lies between, but for the hold of a verified bond.
        if event.what is not What.VERIFIED:
            assert (inside.time[0], inside.quality[0]) == (event.since, 0)
            assert (inside.quality[1:] > 0).all()


@given(records())
@settings(max_examples=20, deadline=None)
def test_an_event_says_so_where_the_reading_that_shows_it_is_uncertain(
    signals: dict[Role, Samples],
) -> None:
    for event in events_of(signals):
        if event.role is None or event.what is What.VERIFIED or event.basis is Basis.MISSING:
            continue
        line = signals[event.role]
        at = int(line.time.searchsorted(event.time, side="right")) - 1
        assert ("uncertain" in event.detail) == (line.quality[at] == 1)


PAIRS = [
    ((What.FLOW_ON, What.FLOW_OFF), What.FLOW_UNKNOWN),
    ((What.PERMISSIVE_CLOSED, What.PERMISSIVE_OPENED), What.PERMISSIVE_UNKNOWN),
    ((What.BYPASS_ON, What.BYPASS_OFF), What.BYPASS_UNKNOWN),
]


@pytest.mark.parametrize(("turns", "unknown"), PAIRS)
@given(signals=records())
@settings(max_examples=12, deadline=None)
def test_a_signal_never_turns_the_same_way_twice(
    turns: tuple[What, What], unknown: What, signals: dict[Role, Samples]
) -> None:
    told = [event.what for event in events_of(signals) if event.what in (*turns, unknown)]
    assert all(one is not other for one, other in pairwise(told))


@given(records())
@settings(max_examples=12, deadline=None)
def test_a_verified_bond_follows_low_and_a_loss_ends_it(signals: dict[Role, Samples]) -> None:
    now = situation(WHERE, signals, (0, UNTIL))
    events = events_of(signals)
    verified = [event.time for event in events if event.what is What.VERIFIED]
    assert verified == [start for start in now.verified[:, 0].tolist() if start > 0]
    lost = {event.time for event in events if event.what is What.BOND_LOST}
    unknown = {event.time for event in events if event.what is What.BOND_UNKNOWN}
    assert set(now.verified[:, 1].tolist()) <= lost | unknown | {UNTIL}


@given(records())
@settings(max_examples=12, deadline=None)
def test_what_has_flowed_never_falls_and_ends_as_the_meter_sums(
    signals: dict[Role, Samples],
) -> None:
    events = events_of(signals)
    volumes = [event.volume for event in events if event.volume is not None]
    assert volumes == sorted(volumes)
    meter = FlowMeter.of(signals[Role.FLOW], ns(3))
    runs = situation(WHERE, signals, (0, UNTIL)).flow.where(Contact.ON)
    offs = [event for event in events if event.what is What.FLOW_OFF]
    for off in offs[-1:]:
        if off.volume is None:
            assert "not known: the meter told nothing" in off.detail
            continue
        assert ("at least" in off.detail) is off.volume_is_least
        before = runs[runs[:, 1] <= off.time]
        assert off.volume == pytest.approx(sum(meter.amounts(before)), abs=1e-5)


@given(records())
@settings(max_examples=12, deadline=None)
def test_where_nothing_is_known_the_basis_is_missing(signals: dict[Role, Samples]) -> None:
    gone = {
        What.SILENT,
        What.BAD_QUALITY,
        What.BOND_UNKNOWN,
        What.FLOW_UNKNOWN,
        What.PERMISSIVE_UNKNOWN,
        What.BYPASS_UNKNOWN,
    }
    for event in events_of(signals)[1:]:
        assert (event.basis is Basis.MISSING) == (event.what in gone)


@given(records(), st.integers(1, 119))
@settings(max_examples=12, deadline=None)
def test_a_later_start_of_the_span_changes_no_time_of_change(
    signals: dict[Role, Samples], second: int
) -> None:
    """Only what hangs on the past of the span itself may differ: was it known before it began."""
    whats = {
        What.PERMISSIVE_OPENED: What.PERMISSIVE_KNOWN,
        What.BYPASS_OFF: What.BYPASS_KNOWN,
        What.FLOW_OFF: What.FLOW_KNOWN,
        What.FLOW_ON: What.FLOW_KNOWN,
    }
    later = {(e.time, e.what) for e in sequence(WHERE, signals, (ns(second), UNTIL))}
    for event in events_of(signals):
        if event.time > ns(second) and event.what in whats:
            assert {(event.time, event.what), (event.time, whats[event.what])} & later


def test_ten_thousand_crossings_are_told_in_few_events() -> None:
    time = np.arange(216_000) * ns(0.1)
    noise = np.random.default_rng(1).normal(10, 0.5, time.size)
    signals = {Role.RESISTANCE: Samples.of(time, noise)}
    events = sequence(station(Role.RESISTANCE), signals, (0, ns(21_600)))
    (burst,) = [event for event in events if event.what is What.UNSTEADY]
    assert "not told one by one" in burst.detail
    assert len(events) < 20
