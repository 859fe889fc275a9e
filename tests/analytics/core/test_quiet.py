"""Quiet moments: judging from one on gives what judging everything gives from there on."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from analytics.core.case import build_case
from analytics.core.days import Episodes
from analytics.core.quiet import Quiet, last_quiet
from analytics.core.situation import observed_span
from analytics.core.station import examine
from bondtrail.samples import Samples
from bondtrail.site import Role
from bondtrail.times import nanoseconds
from tests.analytics.core.build import BAD, GAP, OPEN, S, Stretch, case, ns, told
from tests.reference.scripts import Script, histories

Told = dict[str, list[Stretch]]

LIMITS = {"resume_within_s": 10.0, "cluster_s": 10.0}
"""So that 11 s after flow or a loss it may be quiet again."""


def quiet(reported: Told, before: float = 60, *, whole: bool = True, **how: Any) -> Quiet | None:
    past = case(told(**reported), until=before, **{**LIMITS, **how})
    return last_quiet([past], ns(before), whole=whole)


def last_moment_before(second: float) -> int:
    return ns(second) - 1


@pytest.mark.parametrize(
    ("reported", "expected"),
    [
        pytest.param({}, 60, id="nothing-ever-heard"),
        pytest.param({"flow": [(60, 0)]}, 60, id="no-flow"),
        pytest.param({"flow": [(30, 0), (30, 60)]}, 30, id="before-flow-that-goes-on"),
        pytest.param({"flow": [(30, 60), (30, 0)]}, 60, id="long-after-flow"),
        pytest.param({"flow": [(20, 0), (30, 60), (10, 0)]}, 20, id="a-pause-may-not-be-the-end"),
        pytest.param({"resistance": [(60, OPEN)]}, 60, id="clamp-off"),
        pytest.param({"resistance": [(30, OPEN), (30, 2.0)]}, 30, id="before-the-clamp-went-on"),
        pytest.param({"resistance": [(60, 2.0)]}, None, id="never-off"),
        pytest.param({"resistance": [(30, 2.0), (30, OPEN)]}, 60, id="long-off"),
        pytest.param(
            {"resistance": [(30, OPEN), (25, 2.0), (5, OPEN)]}, 30, id="losses-may-become-a-cluster"
        ),
        pytest.param({"resistance": [(3, OPEN), (57, 2.0)]}, None, id="off-too-short-to-be-sure"),
        pytest.param({"resistance": [(40, OPEN), (20, GAP)]}, 40, id="bond-last-known"),
        pytest.param({"bypass": [(40, 0), (20, GAP)]}, 60, id="bypass-remembered-across-silence"),
        pytest.param({"bypass": [(30, 0), (30, 1)]}, 30, id="bypass-on"),
        pytest.param({"bypass": [(30, 1), (30, 0)]}, 60, id="bypass-off-again"),
        pytest.param(
            {"bypass": [(20, 0), (20, 1), (20, GAP)]}, 20, id="bypass-last-known-to-be-on"
        ),
        pytest.param(
            {"resistance": [(60, OPEN)], "status": [(30, 0), (30, 2)]}, 30, id="monitor-at-fault"
        ),
        pytest.param({"resistance": [(30, OPEN), (30, BAD)]}, 30, id="bad-data-of-the-bond"),
        pytest.param(
            {"resistance": [(60, OPEN)], "status": [(30, 2), (30, 0)]}, 60, id="fault-is-over"
        ),
        pytest.param({"bypass": [(60, GAP)]}, 60, id="bypass-never-heard"),
        pytest.param(
            {"resistance": [(60, OPEN)], "permissive": [(30, 0), (30, 1)]},
            30,
            id="in-disagreement",
        ),
    ],
)
def test_the_last_quiet_moment(reported: Told, expected: float | None) -> None:
    found = quiet(reported)
    assert (found and found.at) == (None if expected is None else last_moment_before(expected))


@pytest.mark.parametrize(
    ("reported", "expected"),
    [
        pytest.param({"resistance": [(60, 2.0)]}, 60, id="verified"),
        pytest.param({"resistance": [(30, 2.0), (30, OPEN)]}, 30, id="isolated"),
        pytest.param({"resistance": [(60, OPEN)]}, None, id="never-bonded"),
    ],
)
def test_a_fixed_item_is_quiet_while_its_bond_is_verified(
    reported: Told, expected: float | None
) -> None:
    found = quiet(reported, kind="fixed_item")
    assert (found and found.at) == (None if expected is None else last_moment_before(expected))


def test_the_moment_itself_does_not_count() -> None:
    reported: Told = {"flow": [(20, 0), (20, 60), (20, 0)]}
    found = quiet(reported, before=20)
    assert found is not None
    assert found.at == last_moment_before(20)


@pytest.mark.parametrize(
    ("settled_s", "expected"),
    [
        pytest.param(10, 60, id="time-to-settle"),
        pytest.param(59, None, id="no-time-to-settle"),
    ],
)
def test_what_came_before_what_was_read_is_taken_to_be_busy(
    settled_s: float, expected: float | None
) -> None:
    reported: Told = {"flow": [(60, 0)]}
    found = quiet(reported, whole=False, resume_within_s=settled_s)
    assert (found and found.at) == (None if expected is None else last_moment_before(expected))
    assert quiet(reported, whole=True, resume_within_s=settled_s) is not None


@pytest.mark.parametrize("role", ["bypass", "permissive"])
def test_what_a_contact_last_said_must_be_known(role: str) -> None:
    clamp_off: Told = {"resistance": [(5, 2.0), (55, OPEN)]}
    assert quiet({**clamp_off, role: [(60, GAP)]}, whole=False) is None
    found = quiet({**clamp_off, role: [(3, 0), (57, GAP)]}, whole=False)
    # A moment at which it still held must be read again.
    assert found == Quiet(last_moment_before(60), last_moment_before(3))


def test_all_sets_of_limits_must_agree() -> None:
    signals = told(flow=[(20, 0), (20, 60), (20, 0)])
    strict, lax = (case(signals, until=60, resume_within_s=s, cluster_s=1) for s in (30, 10))
    for cases, expected in (([strict], 20), ([lax], 60), ([lax, strict], 20)):
        found = last_quiet(cases, ns(60), whole=True)
        assert found is not None
        assert found.at == last_moment_before(expected)


def test_the_context_reaches_back_to_where_the_clamp_came_off() -> None:
    found = quiet({"resistance": [(10, 2.0), (50, OPEN)]})
    assert found == Quiet(last_moment_before(60), ns(10))


def test_the_context_holds_the_evidence_of_a_trip_and_the_hold() -> None:
    found = quiet({"flow": [(60, 0)]}, hold_s=2)
    # 5 s of evidence, 2 s of hold, and a second to spare
    assert found == Quiet(last_moment_before(60), last_moment_before(52))


def begun(episodes: Episodes, at: int) -> dict[str, list[object]]:
    """What began at or after a moment."""
    return {
        "transfers": [item for item in episodes.transfers if item.start >= at],
        "hookups": [item for item in episodes.hookups if item.start >= at],
        "trips": [item for item in episodes.trips if item.time >= at],
        "findings": [item for item in episodes.findings if item.start >= at],
        "alarms": [item for item in episodes.alarms if item.start >= at],
    }


def cut(script: Script, start: int, end: int) -> dict[Role, Samples]:
    """What is known from a moment on, with what still holds then."""
    points = script.station.points
    return {
        role: samples.between(start - nanoseconds(points[role].stale_after_s), end)
        for role, samples in script.signals.items()
    }


@settings(
    deadline=None,
    derandomize=True,
    database=None,
    max_examples=60,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(histories(), st.integers(1, 1000), st.sampled_from([0, 0, 60, 400, 2000]))
def test_judging_from_a_quiet_moment_on_is_judging_everything(
    script: Script, thousandths: int, back_s: int
) -> None:
    station, signals, work, tickets = script
    span = observed_span(station, signals)
    if span is None:
        return
    start, end = span
    before = start + max((end - start) * thousandths // 1000 // S * S, S)
    seen_from = max(start, before - back_s * S) if back_s else start
    past = build_case(station, cut(script, seen_from, before), (seen_from, before))
    found = last_quiet([past], before, whole=seen_from == start)
    event(f"quiet: {found is not None}")
    if found is None:
        return
    assert seen_from <= found.at < before
    whole = examine(station, signals, span, work=work, tickets=tickets).episodes
    from_there = max(found.context, start)
    later = examine(
        station, cut(script, from_there, end), (from_there, end), work=work, tickets=tickets
    ).episodes
    assert begun(later, found.at) == begun(whole, found.at)
    spanning = [*whole.transfers, *whole.hookups, *whole.findings, *whole.alarms]
    assert not [item for item in spanning if item.start < found.at < item.end]
