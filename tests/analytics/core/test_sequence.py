"""The sequence of events: every change told once, in order, with its figures."""

from __future__ import annotations

import dataclasses
import math

import pytest

from analytics.core.events import ABNORMAL, Basis, What
from analytics.core.sequence import sequence
from analytics.core.situation import situation
from bondtrail.results import (
    Finding,
    Kind,
    Severity,
    Ticket,
    Trip,
    TripCause,
    TripClass,
    WorkWindow,
)
from bondtrail.samples import Samples
from bondtrail.site import Limits, Role, parse_site

S = 1_000_000_000
OPEN = math.inf

SITE = parse_site(
    """
schema = 1
[site]
id = "quay"
name = "Quay (invented)"
timezone = "Europe/Lisbon"
[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"
[station.points]
resistance = { unit = "ohm" }
status = {}
permissive = { stale_after_s = 7200 }
bypass = { stale_after_s = 7200 }
flow = { unit = "L/min" }
"""
)
STATION = SITE.station("rail-1")


def every_second(values: list[float], quality: list[int] | None = None) -> Samples:
    return Samples.of([n * S for n in range(len(values))], values, quality)


def told(
    signals: dict[Role, Samples], span_s: tuple[float, float] = (0, 10), **more: object
) -> list[tuple[float, What]]:
    span = (round(span_s[0] * S), round(span_s[1] * S))
    events = sequence(STATION, signals, span, **more)  # type: ignore[arg-type]
    assert [event.what for event in events[:2]] == [What.AT_START, What.LIMITS]
    return [(event.time / S, event.what) for event in events[2:]]


@pytest.mark.parametrize(
    ("ohms", "expected"),
    [
        pytest.param([OPEN] * 10, [], id="open throughout"),
        pytest.param([4.0] * 10, [(1, What.VERIFIED)], id="low throughout"),
        pytest.param(
            [OPEN] * 3 + [4.0] * 7,
            [(3, What.CONTACT), (3, What.BOND_LOW), (4, What.VERIFIED)],
            id="clamp on",
        ),
        pytest.param(
            [OPEN] * 2 + [300.0] * 2 + [10.0] * 6,
            [(2, What.CONTACT), (4, What.BOND_LOW), (5, What.VERIFIED)],
            id="contact high at first, then exactly at the limit",
        ),
        pytest.param(
            [4.0] * 4 + [OPEN] * 6,
            [(1, What.VERIFIED), (4, What.BOND_LOST), (4, What.CLAMP_OFF)],
            id="clamp off",
        ),
        pytest.param(
            [4.0] * 4 + [40.0] * 2 + [OPEN] * 4,
            [
                (1, What.VERIFIED),
                (4, What.BOND_LOST),
                (6, What.CIRCUIT_OPEN),
                (6, What.CLAMP_OFF),
            ],
            id="lost by way of high",
        ),
        pytest.param(
            [4.0] * 4 + [40.0] + [4.0] * 5,
            [(1, What.VERIFIED), (4, What.BOND_LOST), (5, What.BOND_LOW), (6, What.VERIFIED)],
            id="lost and back",
        ),
        pytest.param(
            [OPEN, 4.0, OPEN] + [OPEN] * 7,
            [(1, What.CONTACT), (1, What.BOND_LOW), (2, What.BOND_LOST), (2, What.CLAMP_OFF)],
            id="hold not served: never verified",
        ),
    ],
)
def test_bond_events(ohms: list[float], expected: list[tuple[float, What]]) -> None:
    assert told({Role.RESISTANCE: every_second(ohms)}) == expected


def test_silence_begins_when_the_last_sample_goes_stale_and_ends_with_the_next() -> None:
    samples = Samples.of([0, 1 * S, 20 * S, 21 * S], [4.0, 4.0, 5.0, 5.0])
    assert told({Role.RESISTANCE: samples}, (0, 22)) == [
        (1, What.VERIFIED),
        (6, What.BOND_UNKNOWN),
        (20, What.BOND_KNOWN),
        (21, What.VERIFIED),
    ]


def test_a_bond_found_lost_after_silence_is_told_as_both() -> None:
    samples = Samples.of([0, 20 * S], [4.0, OPEN])
    assert told({Role.RESISTANCE: samples}, (0, 21))[2:] == [
        (20, What.BOND_KNOWN),
        (20, What.BOND_LOST),
        (20, What.CLAMP_OFF),
    ]


def test_bad_quality_is_unknown_and_a_monitor_fault() -> None:
    samples = every_second([4.0] * 10, [0] * 5 + [2] + [0] * 4)
    assert told({Role.RESISTANCE: samples}) == [
        (1, What.VERIFIED),
        (5, What.BOND_UNKNOWN),
        (5, What.FAULT_ON),
        (6, What.BOND_KNOWN),
        (6, What.FAULT_OFF),
        (7, What.VERIFIED),
    ]


@pytest.mark.parametrize(
    ("role", "on", "off"),
    [
        (Role.PERMISSIVE, What.PERMISSIVE_CLOSED, What.PERMISSIVE_OPENED),
        (Role.BYPASS, What.BYPASS_ON, What.BYPASS_OFF),
        (Role.FLOW, What.FLOW_ON, What.FLOW_OFF),
    ],
)
def test_contacts_and_flow_tell_on_and_off(role: Role, on: What, off: What) -> None:
    value = 800.0 if role is Role.FLOW else 1.0
    samples = every_second([0, 0, value, value, 0, 0, 0, 0, 0, 0])
    assert told({role: samples}) == [(2, on), (4, off)]


def test_a_signal_that_comes_back_unchanged_says_so() -> None:
    samples = Samples.of([0, 20 * S], [800.0, 810.0])
    events = sequence(STATION, {Role.FLOW: samples}, (0, 21 * S))
    assert [(event.time // S, event.what, event.detail) for event in events[2:]] == [
        (5, What.FLOW_UNKNOWN, "flow: silent, last reading 5 s before, for 15 s"),
        (20, What.FLOW_ON, "810 L/min, on as before"),
    ]


def test_details_carry_the_readings() -> None:
    signals = {
        Role.RESISTANCE: every_second([OPEN, 4.25, 4.25, 37.0, 37.0, 37.0, 4.25, 4.25, 4.25, 4.25])
    }
    details = {(e.time // S, e.what): e.detail for e in sequence(STATION, signals, (0, 10 * S))}
    assert details[1, What.CONTACT] == "4.25 ohm"
    assert details[3, What.BOND_LOST] == "37 ohm, for 3 s"
    assert details[2, What.VERIFIED] == "for 1 s"


def test_the_first_event_says_how_things_stood() -> None:
    signals = {
        Role.RESISTANCE: every_second([4.0] * 10),
        Role.PERMISSIVE: every_second([1.0]),
        Role.BYPASS: every_second([1.0]),
        Role.FLOW: every_second([0.0] * 10),
    }
    first, limits = sequence(STATION, signals, (0, 10 * S))[:2]
    assert first.what is What.AT_START
    assert first.detail == "bond low, permissive closed, flow off, bypass on"
    assert (first.ohm, first.flow, first.volume) == (4.0, 0.0, 0.0)
    assert limits.detail == "low up to 10 ohm, open from 100 kohm, hold 1 s, flow from 5"


def test_without_signals_everything_is_unknown_and_nothing_happens() -> None:
    first, limits = sequence(STATION, {}, (0, S))
    assert first.detail == "bond unknown, permissive unknown, flow unknown"
    assert first.basis is Basis.MISSING
    assert limits.what is What.LIMITS


@pytest.mark.parametrize("end", [0, -S])
def test_an_empty_span_has_no_events(end: int) -> None:
    assert sequence(STATION, {Role.RESISTANCE: every_second([4.0])}, (0, end)) == []


def trip(at_s: int) -> Trip:
    return Trip(
        "rail-1", at_s * S, "rail-1/x", TripClass.NUISANCE, TripCause.BRIEF_CONTACT_LOSS,
        False, 0.4, 1.5,
    )  # fmt: skip


def finding(at_s: int) -> Finding:
    return Finding(
        Kind.CHATTERING, Severity.MINOR, "rail-1", None, at_s * S, (at_s + 1) * S, "It chatters.",
        {}, {},
    )  # fmt: skip


def test_trips_and_findings_that_begin_inside_are_told() -> None:
    events = sequence(
        STATION,
        {},
        (5 * S, 10 * S),
        trips=[trip(4), trip(5), trip(10)],
        findings=[finding(4), finding(9), finding(10)],
    )
    assert [(e.time // S, e.what, e.detail, e.basis, e.finding) for e in events[2:]] == [
        (
            5,
            What.TRIP,
            "nuisance: brief contact loss, flow off 1.5 s after the loss",
            Basis.INFERRED,
            None,
        ),
        (9, What.FINDING, "minor chattering: It chatters.", Basis.INFERRED, finding(9)),
    ]


@pytest.mark.parametrize(
    ("start_s", "end_s", "expected"),
    [
        pytest.param(2, 5, [], id="over when the span begins"),
        pytest.param(2, 6, [(5, What.GOING_ON)], id="going on"),
        pytest.param(2, 60, [(5, What.GOING_ON)], id="all through it"),
        pytest.param(5, 9, [(5, What.FINDING)], id="begins with the span"),
        pytest.param(5, 5, [(5, What.FINDING)], id="a moment"),
        pytest.param(10, 20, [], id="after it"),
    ],
)
def test_a_finding_from_before_is_told_at_the_start(
    start_s: int, end_s: int, expected: list[tuple[int, What]]
) -> None:
    lasting = dataclasses.replace(finding(start_s), end=end_s * S)
    events = sequence(STATION, {}, (5 * S, 10 * S), findings=[lasting])
    assert [(event.time // S, event.what) for event in events[2:]] == expected
    assert all(event.finding is lasting for event in events[2:])


def test_events_of_one_moment_are_told_from_cause_to_effect() -> None:
    signals = {
        Role.RESISTANCE: every_second([4.0] * 5 + [OPEN] * 5),
        Role.PERMISSIVE: every_second([1.0] * 5 + [0.0] * 5),
        Role.FLOW: every_second([800.0] * 5 + [0.0] * 5),
    }
    whats = [what for at, what in told(signals, trips=[trip(5)]) if at == 5]
    assert whats == [
        What.BOND_LOST,
        What.CLAMP_OFF,
        What.PERMISSIVE_OPENED,
        What.TRIP,
        What.FLOW_OFF,
    ]


def test_the_order_does_not_hang_on_when_the_span_begins() -> None:
    ohms = every_second([OPEN, 4.0, 4.0, 40.0, 4.0, 4.0, 4.0, OPEN, OPEN, OPEN])
    whole = sequence(STATION, {Role.RESISTANCE: ohms}, (0, 10 * S))
    later = sequence(STATION, {Role.RESISTANCE: ohms}, (3 * S - 1, 10 * S))
    assert [e for e in whole if e.time >= 3 * S] == later[2:]


def test_losses_silence_and_findings_are_marked_abnormal() -> None:
    assert {What.BOND_LOST, What.BOND_UNKNOWN, What.FINDING, What.TRIP} <= ABNORMAL
    assert not {What.VERIFIED, What.FLOW_ON, What.AT_START} & ABNORMAL


LOOKED_AT = """
schema = 1
[site]
id = "quay"
name = "Quay (invented)"
timezone = "Europe/Lisbon"
[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"
[station.points]
resistance = {{ unit = "ohm" {bond} }}
permissive = {{ stale_after_s = 7200 {permissive} }}
flow = {{ unit = "L/min" }}
"""


@pytest.mark.parametrize(
    ("bond", "permissive", "opened_s", "certain"),
    [
        pytest.param("", ", interval_s = 0.1", 5.3, True, id="quick-enough"),
        pytest.param("", ", interval_s = 0.3", 5.3, True, id="just-quick-enough"),
        pytest.param("", ", interval_s = 0.4", 5.3, False, id="too-slow"),
        pytest.param("", "", 5.3, False, id="reported-on-change: how-quick-is-not-known"),
        pytest.param("", ", interval_s = 0.1", 5.0, False, id="at-one-moment"),
        pytest.param(
            "", ", interval_s = 0.1", 4.9, False, id="before-a-loss-of-up-to-a-second-ago"
        ),
        pytest.param(", interval_s = 0.05", ", interval_s = 0.1", 4.9, True, id="a-quick-bond"),
        pytest.param(", interval_s = 0.05", "", 4.9, True, id="the-earlier-may-be-slow"),
    ],
)
def test_the_order_of_bond_and_permissive(
    bond: str, permissive: str, opened_s: float, certain: bool
) -> None:
    """The bond is lost at 5 s, seen in readings a second apart; of the two the later is marked."""
    text = LOOKED_AT.format(bond=bond, permissive=permissive)
    station = parse_site(text).station("rail-1")
    signals = {
        Role.RESISTANCE: every_second([4.0] * 5 + [OPEN] * 5),
        Role.PERMISSIVE: Samples.of([0, round(opened_s * S)], [1.0, 0.0]),
    }
    events = [
        event
        for event in sequence(station, signals, (0, 10 * S))
        if event.what in (What.BOND_LOST, What.PERMISSIVE_OPENED)
    ]
    assert events[0].what is (What.PERMISSIVE_OPENED if opened_s < 5 else What.BOND_LOST)
    assert events[1].order_certain is certain


@pytest.mark.parametrize(
    ("clock_error_s", "certain"),
    [
        pytest.param(0.0, True, id="clocks-agree"),
        pytest.param(0.2, True, id="just-far-enough-apart"),
        pytest.param(0.21, False, id="a-clock-may-be-off-by-more"),
    ],
)
def test_clocks_that_may_differ_leave_the_order_of_two_devices_open(
    clock_error_s: float, certain: bool
) -> None:
    """The permissive opens 0.2 to 0.3 s after the bond is lost, both by their own clocks."""
    station = parse_site(LOOKED_AT.format(bond="", permissive=", interval_s = 0.1")).stations[0]
    signals = {
        Role.RESISTANCE: every_second([4.0] * 5 + [OPEN] * 5),
        Role.PERMISSIVE: Samples.of([0, round(5.3 * S)], [1.0, 0.0]),
    }
    events = sequence(station, signals, (0, 10 * S), clock_error_s=clock_error_s)
    (opened,) = [event for event in events if event.what is What.PERMISSIVE_OPENED]
    assert opened.order_certain is certain


def test_an_event_that_an_uncertain_reading_shows_says_so() -> None:
    """Its time may be that of arrival: it may have come since the last good reading."""
    ohms = [OPEN] * 3 + [4.0] * 5 + [300.0] * 2
    rates = [0.0] * 4 + [600.0] * 3 + [0.0] * 3
    signals = {
        Role.RESISTANCE: every_second(ohms, [0, 0, 1, 1, 0, 0, 0, 0, 1, 1]),
        Role.FLOW: every_second(rates, [0, 0, 0, 0, 1, 0, 0, 1, 0, 0]),
    }
    events = sequence(STATION, signals, (0, 10 * S))[2:]
    told = [(e.time // S, e.what, e.detail, e.since and e.since // S) for e in events]
    assert told == [
        (3, What.CONTACT, "4 ohm, uncertain", 1),
        (3, What.BOND_LOW, "4 ohm, uncertain", 1),
        (4, What.VERIFIED, "for 4 s, uncertain", 2),  # the low behind it was seen uncertainly
        (4, What.FLOW_ON, "600 L/min, uncertain", 3),
        (7, What.FLOW_OFF, "after 3 s, uncertain, 30 L so far", 6),
        (8, What.BOND_LOST, "300 ohm, for at least 2 s, uncertain", 7),
    ]


def test_what_good_readings_show_is_not_told_as_uncertain() -> None:
    quality = [1, 0, 0, 0, 0, 0, 1, 0, 0, 0]
    signals = {Role.RESISTANCE: every_second([OPEN] * 3 + [4.0] * 7, quality)}
    told = [(e.time // S, e.what) for e in sequence(STATION, signals, (0, 10 * S))[2:]]
    assert told == [(3, What.CONTACT), (3, What.BOND_LOW), (4, What.VERIFIED)]
    assert "uncertain" not in " ".join(e.detail for e in sequence(STATION, signals, (0, 10 * S)))


def test_bad_data_is_missing_and_not_uncertain() -> None:
    signals = {Role.RESISTANCE: every_second([4.0] * 10, [0] * 5 + [2] * 5)}
    (gone,) = [e for e in sequence(STATION, signals, (0, 10 * S)) if e.what is What.BOND_UNKNOWN]
    assert gone.detail == "resistance: bad quality, for at least 5 s"


def test_figures_in_force_stand_beside_each_event() -> None:
    signals = {
        Role.RESISTANCE: every_second([OPEN] * 2 + [4.0] * 8),
        Role.FLOW: every_second([0.0] * 4 + [600.0] * 4 + [0.0] * 2),
    }
    events = sequence(STATION, signals, (0, 10 * S))[2:]
    assert [(e.what, e.ohm, e.flow, e.volume) for e in events] == [
        (What.CONTACT, 4.0, 0.0, 0.0),
        (What.BOND_LOW, 4.0, 0.0, 0.0),
        (What.VERIFIED, 4.0, 0.0, 0.0),
        (What.FLOW_ON, 4.0, 600.0, 0.0),
        (What.FLOW_OFF, 4.0, 0.0, 40.0),
    ]
    assert events[-1].detail == "after 4 s, 40 L so far"


@pytest.mark.parametrize(
    ("since_s", "litres"), [(None, 60.0), (0, 60.0), (2, 40.0), (5, 30.0), (9, 0.0)]
)
def test_volumes_are_counted_from_where_it_is_asked(since_s: int | None, litres: float) -> None:
    signals = {Role.FLOW: every_second([600.0] * 3 + [0.0] * 2 + [600.0] * 3 + [0.0] * 2)}
    counted_from = None if since_s is None else since_s * S
    events = sequence(STATION, signals, (0, 10 * S), counted_from=counted_from)
    assert events[-1].what is What.FLOW_OFF
    assert events[-1].volume == litres


WITH_CONTACT = parse_site(
    SITE.text.replace("flow = {", "running = {}\nflow = {")
).station("rail-1")  # fmt: skip


@pytest.mark.parametrize(
    ("flow", "said", "volume", "least"),
    [
        pytest.param(
            Samples.of([n * S for n in range(100)], [0.0] * 10 + [600.0] * 80 + [0.0] * 10),
            "after 80 s, 800 L so far",
            800.0,
            False,
            id="measured",
        ),
        pytest.param(
            Samples.of(
                [n * S for n in range(100) if not 20 <= n < 61],
                [0.0] * 10 + [600.0] * 39 + [0.0] * 10,
            ),
            "after 80 s, at least 430 L so far: the meter told nothing for 37 s of the flow",
            430.0,
            True,
            id="silent-within: its-last-reading-held-for-5-s",
        ),
        pytest.param(
            Samples.empty(),
            "after 80 s, volume not known: the meter told nothing of the flow",
            None,
            False,
            id="silent-throughout",
        ),
    ],
)
def test_flow_that_is_not_measured_is_not_counted_as_none(
    flow: Samples, said: str, volume: float | None, least: bool
) -> None:
    running = Samples.of([n * S for n in range(100)], [0.0] * 10 + [1.0] * 80 + [0.0] * 10)
    signals = {Role.FLOW: flow, Role.RUNNING: running}
    if volume is None:  # else nothing tells that flow is off
        signals[Role.FLOW] = Samples.of([90 * S], [0.0])
    events = sequence(WITH_CONTACT, signals, (5 * S, 100 * S), counted_from=10 * S)
    (off,) = [event for event in events if event.what is What.FLOW_OFF]
    assert (off.detail, off.volume, off.volume_is_least) == (said, volume, least)
    (on,) = [event for event in events if event.time == 10 * S]
    assert on.detail == ("on, rate not measured" if volume is None else "600 L/min")


def test_the_least_that_flowed_is_rounded_down() -> None:
    flow = Samples.of([n * S for n in (*range(10), *range(20, 30))], [700.0] * 19 + [0.0])
    *_, off = sequence(STATION, {Role.FLOW: flow}, (0, 30 * S))
    assert off.volume == pytest.approx(14 / 60 * 700 + 9 / 60 * 700)  # 268.33
    assert "at least 268.3 L so far: the meter told nothing for 6 s" in off.detail


def test_an_event_tells_the_bond_in_force() -> None:
    ohms = Samples.of([n * S for n in (0, 1, 2, 3, 20)], [OPEN, 40.0, 4.0, OPEN, 4.0])
    told = {
        (e.time // S, e.bond, e.ohm)
        for e in sequence(STATION, {Role.RESISTANCE: ohms}, (0, 30 * S))
    }
    assert told >= {
        (0, "open", OPEN), (1, "high", 40.0), (2, "low", 4.0), (3, "open", OPEN),
        (8, "unknown", None),
    }  # fmt: skip


@pytest.mark.parametrize(("code", "bond"), [(0.0, "open"), (1.0, "low"), (2.0, "unknown")])
def test_a_bond_without_ohms_is_told_by_its_word(code: float, bond: str) -> None:
    by_status = STATION.model_copy(update={"points": {Role.STATUS: STATION.points[Role.STATUS]}})
    first, *_ = sequence(by_status, {Role.STATUS: every_second([code] * 4)}, (0, 4 * S))
    assert (first.bond, first.ohm) == (bond, None)


def test_without_a_meter_there_is_no_volume() -> None:
    bare = STATION.model_copy(
        update={"points": {r: p for r, p in STATION.points.items() if r is not Role.FLOW}}
    )
    events = sequence(bare, {Role.RESISTANCE: every_second([4.0] * 10)}, (0, 10 * S))
    assert {event.volume for event in events} == {None}


def test_the_limits_told_at_the_start_are_those_of_then() -> None:
    older = STATION.model_copy(update={"limits": Limits(limit_ohm=25.0)})
    events = sequence(STATION, {}, (0, 10 * S), changes=[(5 * S, older, STATION)])
    assert [(e.what, e.time // S) for e in events[1:]] == [
        (What.LIMITS, 0),
        (What.LIMITS_CHANGED, 5),
    ]
    assert events[1].detail.startswith("low up to 25 ohm")
    assert events[2].detail == "limit_ohm 25 to 10"


def test_who_worked_and_whose_ticket_it_is_are_told() -> None:
    events = sequence(
        STATION,
        {},
        (0, 100 * S),
        work=[WorkWindow("rail-1", 10 * S, 20 * S, "clamp replaced")],
        tickets=[Ticket("rail-1", -5 * S, 200 * S, "B-17", "toluene", "J. Invented")],
    )
    assert [(e.time // S, e.what, e.detail) for e in events[2:]] == [
        (
            0,
            What.TICKET_GOING_ON,
            "batch B-17, product toluene, operator J. Invented; began 5 s before",
        ),
        (10, What.WORK_ON, "clamp replaced"),
        (20, What.WORK_OVER, "clamp replaced"),
    ]


def test_a_situation_that_is_known_already_is_not_made_again() -> None:
    signals = {Role.RESISTANCE: every_second([4.0] * 10)}
    span = (0, 10 * S)
    strict = STATION.model_copy(update={"limits": Limits(limit_ohm=1.0)})
    now = situation(strict, signals, span)
    events = sequence(STATION, signals, span, now=now)
    assert What.VERIFIED not in {event.what for event in events}
