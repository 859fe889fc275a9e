"""A station's signals brought together: which point tells what, and what faults are."""

from __future__ import annotations

import pytest

from analytics.core.bond import Bond
from analytics.core.runs import Contact
from analytics.core.situation import Situation, observed_span, openings, situation
from bondtrail.site import Role
from tests.analytics.core.build import (
    BAD,
    GAP,
    OPEN,
    Pair,
    Stretch,
    contact,
    moments,
    ns,
    pairs,
    station,
    told,
)

Told = dict[str, list[Stretch]]


def now(until: float, reported: Told) -> Situation:
    signals = told(**reported)
    return situation(station(*signals), signals, (0, ns(until)))


def test_a_station_is_observed_from_its_first_sample_until_the_last_goes_stale() -> None:
    signals = told(resistance=[(2, GAP), (3, 2.0)], flow=[(5, GAP), (4, 60.0)])
    place = station(Role.RESISTANCE, Role.FLOW, stale_s=5)
    # the last samples are at 4 s and at 8 s
    assert observed_span(place, signals) == (ns(2), ns(13))


@pytest.mark.parametrize(
    "reported",
    [
        pytest.param({}, id="no-signals"),
        pytest.param({"resistance": []}, id="no-samples"),
        pytest.param({"status": [(9, 1.0)]}, id="only-samples-of-a-point-it-has-not"),
    ],
)
def test_without_a_sample_nothing_is_observed(reported: Told) -> None:
    assert observed_span(station(Role.RESISTANCE), told(**reported)) is None


@pytest.mark.parametrize(
    ("reported", "low", "known"),
    [
        pytest.param({"flow": [(9, 60.0)]}, [], [], id="no-point-tells-of-the-bond"),
        pytest.param(
            {"resistance": [(4, 2.0), (5, OPEN)], "status": [(9, 1.0)], "permissive": [(9, 1.0)]},
            [(0, 4)],
            [(0, 9)],
            id="resistance-before-all",
        ),
        pytest.param(
            {"resistance": [(4, 2.0), (5, BAD)], "status": [(9, 1.0)]},
            [(0, 4)],
            [(0, 4)],
            id="status-does-not-stand-in-for-bad-resistance",
        ),
        pytest.param(
            {"status": [(2, 1.0), (2, 0.0), (2, 2.0), (3, 3.0)], "permissive": [(9, 1.0)]},
            [(0, 2)],
            [(0, 4)],
            id="status-before-permissive",
        ),
        pytest.param(
            {"permissive": [(3, 1.0), (3, 0.0), (3, GAP)]}, [(0, 3)], [(0, 6)], id="permissive-last"
        ),
    ],
)
def test_which_point_tells_of_the_bond(reported: Told, low: list[Pair], known: list[Pair]) -> None:
    found = now(9, reported)
    assert pairs(found.bond.where(Bond.LOW)) == low
    assert pairs(found.where(found.bond_known)) == known


@pytest.mark.parametrize(
    ("reported", "flowing", "known"),
    [
        pytest.param({"resistance": [(9, 2.0)]}, [], [], id="no-point-tells-of-flow"),
        pytest.param(
            {"flow": [(3, 4.999), (3, 5.0), (3, GAP)]}, [(3, 6)], [(0, 6)], id="exactly-flow-min"
        ),
        pytest.param(
            {"running": [(3, 0.0), (3, 1.0), (3, BAD)]}, [(3, 6)], [(0, 6)], id="run-contact"
        ),
        pytest.param(
            {"flow": [(3, 60.0), (6, 0.0)], "running": [(2, 0.0), (4, 1.0), (3, 0.0)]},
            [(0, 6)],
            [(0, 9)],
            id="on-if-either-is-on",
        ),
        pytest.param(
            {"flow": [(3, 60.0), (6, 0.0)], "running": [(9, GAP)]},
            [(0, 3)],
            [(0, 3)],
            id="off-and-unknown-is-unknown",
        ),
    ],
)
def test_flow_by_meter_and_run_contact(
    reported: Told, flowing: list[Pair], known: list[Pair]
) -> None:
    found = now(9, reported)
    assert pairs(found.where(found.flowing)) == flowing
    assert pairs(found.flow.where(Contact.ON)) == flowing
    assert pairs(found.flow.where(Contact.ON, Contact.OFF)) == known


@pytest.mark.parametrize(
    ("reported", "expected"),
    [
        pytest.param({"resistance": [(9, 2.0)]}, [], id="none"),
        pytest.param({"resistance": [(3, 2.0), (6, GAP)]}, [], id="silence-is-no-fault"),
        pytest.param({"resistance": [(3, 2.0), (6, BAD)]}, [(3, 9)], id="bad-resistance"),
        pytest.param({"status": [(3, 1.0), (6, 2.0)]}, [(3, 9)], id="status-says-fault"),
        pytest.param({"status": [(3, 1.0), (6, 3.0)]}, [], id="switched-off-is-no-fault"),
        pytest.param(
            {"resistance": [(9, 2.0)], "status": [(3, 1.0), (6, BAD)]},
            [(3, 9)],
            id="bad-status-beside-good-resistance",
        ),
        pytest.param(
            {"resistance": [(3, BAD), (6, 2.0)], "status": [(3, 1.0), (3, 2.0), (3, 1.0)]},
            [(0, 6)],
            id="one-after-the-other-is-one",
        ),
        pytest.param(
            {"resistance": [(9, 2.0)], "flow": [(9, BAD)]}, [], id="bad-flow-is-another's"
        ),
        pytest.param({"permissive": [(3, 1.0), (6, BAD)]}, [(3, 9)], id="permissive-as-the-bond"),
    ],
)
def test_where_the_monitor_is_at_fault(reported: Told, expected: list[Pair]) -> None:
    found = now(9, reported)
    assert pairs(found.where(found.faulty)) == expected


def test_the_bypass_and_the_permissive_are_taken_as_they_are() -> None:
    found = now(9, {"bypass": [(3, 0.0), (3, 1.0), (3, GAP)], "permissive": [(9, 1.0)]})
    assert pairs(found.where(found.bypassed)) == [(3, 6)]
    assert found.permissive is not None
    assert pairs(found.permissive.where(Contact.ON)) == [(0, 9)]


def test_a_station_without_a_permissive_has_none() -> None:
    assert now(9, {"resistance": [(9, 2.0)]}).permissive is None


def test_verified_is_told_over_the_intervals_too() -> None:
    found = now(9, {"resistance": [(2, OPEN), (5, 2.0), (2, OPEN)]})
    assert pairs(found.verified) == [(3, 7)]
    assert pairs(found.where(found.is_verified)) == [(3, 7)]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        pytest.param("on 9", [], id="never-opened"),
        pytest.param("off 9", [], id="open-from-the-first"),
        pytest.param("on 3 off 6", [3], id="opened"),
        pytest.param("on 3 ? 2 off 4", [5], id="found-open-after-silence"),
        pytest.param("on 3 off 1 ? 1 off 4", [3], id="still-open-after-silence"),
        pytest.param("on 1 off 1 on 1 off 1", [1, 3], id="each-time"),
    ],
)
def test_openings_of_the_permissive(words: str, expected: list[float]) -> None:
    assert openings(contact(words)).tolist() == moments(*expected).tolist()
