"""The words of a sequence of events."""

from __future__ import annotations

from analytics.core.events import ABNORMAL, TOLD_AS, Basis, Event, What


def test_events_of_one_moment_are_told_from_cause_to_effect() -> None:
    chain = [
        What.AT_START,
        What.BOND_LOST,
        What.CLAMP_OFF,
        What.PERMISSIVE_OPENED,
        What.TRIP,
        What.FLOW_OFF,
        What.FINDING,
    ]
    assert sorted(set(chain), key=TOLD_AS.__getitem__) == chain


def test_what_a_reader_should_not_miss_is_marked() -> None:
    told = {What.BOND_LOST, What.BOND_UNKNOWN, What.SILENT, What.UNSTEADY, What.TRIP, What.FINDING}
    assert told <= ABNORMAL
    assert not {What.VERIFIED, What.FLOW_ON, What.AT_START, What.WORK_ON, What.LIMITS} & ABNORMAL


def test_an_event_by_itself_is_known_and_in_order() -> None:
    event = Event(0, What.FLOW_ON)
    assert (event.basis, event.order_certain, event.since) == (Basis.KNOWN, True, None)
