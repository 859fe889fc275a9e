"""What drove the charge: flow and resistance at three levels."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence

import numpy as np
import pytest

from analytics.core.electrostatics.beside_flow import Heard
from analytics.core.electrostatics.drive import Drive, drive
from analytics.core.electrostatics.spread import Level, Spread
from analytics.core.situation import situation
from bondtrail.site import Role, Station
from tests.analytics.core.build import BAD, GAP, OPEN, Stretch, ns, station, told

LEAK = Spread(1e5, 1e9, math.inf, "ohm", "a test")
INF = math.inf


def driven(of: Station, until: float, **signals: Sequence[Stretch]) -> Drive | None:
    """What drove the charge from 0 s on."""
    span = 0, ns(until)
    recorded = told(**signals)
    return drive(of, recorded, situation(of, recorded, span), span, LEAK)


def by_level(of: Station, what: str, **signals: Sequence[Stretch]) -> list[tuple[float, ...]]:
    """Low, typical and high of each step of one second."""
    until = max(sum(lasts for lasts, _ in stretches) for stretches in signals.values())
    found = driven(of, until, **signals)
    assert found is not None
    at = found.edges.searchsorted([ns(n + 0.5) for n in range(round(until))]) - 1
    levels = getattr(found, what)
    return list(zip(*(levels[level][at].tolist() for level in Level), strict=True))


METERED = station(Role.RESISTANCE, Role.FLOW)
LOOSE = (1e5, 1e9, INF)
UNSURE = (0.0, 1e9, INF)


@pytest.mark.parametrize(
    ("read", "expected"),
    [
        pytest.param(2.5, (2.5, 2.5, 2.5), id="bonded"),
        pytest.param(5_000, (5_000, 5_000, 5_000), id="high"),
        pytest.param(OPEN, LOOSE, id="open"),
        pytest.param(1e5, LOOSE, id="open-at-the-limit"),
        pytest.param(2e6, (2e6, 1e9, INF), id="open-with-a-reading"),
        pytest.param(3e9, (3e9, 3e9, INF), id="open-with-a-reading-beyond-what-leaks"),
        pytest.param(BAD, UNSURE, id="bad-is-unknown"),
        pytest.param(GAP, UNSURE, id="silence-is-unknown"),
    ],
)
def test_resistance(read: float | str, expected: tuple[float, ...]) -> None:
    found = by_level(METERED, "resistance_ohm", resistance=[(1, 2), (1, read)], flow=[(2, 60)])
    assert found == [(2, 2, 2), expected]


@pytest.mark.parametrize(
    ("role", "values", "expected"),
    [
        # 0 not bonded, 1 bonded, 2 fault, 3 off
        pytest.param(
            "status",
            (0, 1, 2, 3),
            [LOOSE, (0, 10, 10), UNSURE, UNSURE],
            id="status",
        ),
        pytest.param("permissive", (0, 1), [LOOSE, (0, 10, 10)], id="permissive"),
    ],
)
def test_bond_told_by_a_contact(
    role: str, values: Sequence[float], expected: list[tuple[float, ...]]
) -> None:
    of = station(Role(role), Role.FLOW, limit_ohm=10)
    flow: Sequence[Stretch] = [(len(values), 60)]
    signals = {role: [(1, value) for value in values], "flow": flow}
    assert by_level(of, "resistance_ohm", **signals) == expected


def test_without_any_point_for_it_the_bond_is_unknown() -> None:
    assert by_level(station(Role.FLOW), "resistance_ohm", flow=[(1, 60)]) == [UNSURE]


def test_the_leakage_of_a_site_takes_no_less_than_its_open_limit() -> None:
    of = station(Role.RESISTANCE, Role.FLOW, open_ohm=1e10)
    assert by_level(of, "resistance_ohm", resistance=[(1, OPEN)], flow=[(1, 60)]) == [
        (1e10, 1e10, INF)
    ]


NONE = (0, 0, 0)
FLOWS = [
    pytest.param([(2, 60)], [(60, 60, 60)] * 2, id="as-recorded"),
    pytest.param([(1, 0.5)], [(0.5, 0.5, 0.5)], id="below-what-counts-as-flow"),
    pytest.param([(1, -2)], [(2, 2, 2)], id="backwards-by-its-size"),
    pytest.param(
        [(1, 60), (1, 90), (1, GAP), (1, 0)],
        [(60, 60, 60), (90, 90, 90), (0, 90, 90), (0, 0, 0)],
        id="unknown-is-none-or-the-last-or-the-greatest",
    ),
    pytest.param(
        [(1, 90), (1, 60), (1, BAD), (1, 70)],
        [(90, 90, 90), (60, 60, 60), (0, 60, 90), (70, 70, 70)],
        id="the-greatest-of-the-whole-span",
    ),
    pytest.param(
        [(1, BAD), (1, 60)], [(0, 60, 60), (60, 60, 60)], id="unknown-first-is-the-first-known"
    ),
    pytest.param([(1, GAP), (1, 60)], [NONE, (60, 60, 60)], id="before-its-first-reading"),
    pytest.param([(1, 0), (1, GAP), (1, 0)], [NONE] * 3, id="no-flow-on-record"),
    pytest.param([(1, 4), (1, GAP), (1, 0)], [(4, 4, 4), NONE, NONE], id="too-slow-to-be-flow"),
]


@pytest.mark.parametrize(("flow", "expected"), FLOWS)
def test_flow(flow: Sequence[Stretch], expected: list[tuple[float, ...]]) -> None:
    assert by_level(METERED, "flow", flow=flow) == expected


def rated(*roles: Role, unit: str = "L", flow: float = 100.0) -> Station:
    return station(*roles).model_copy(update={"rated_flow": flow, "rated_unit": unit})


SUPPOSED = (0, 60, 90)
RESUMES = station(Role.RESISTANCE, Role.FLOW, resume_within_s=3)
ALL_ALONG: Sequence[Stretch] = [(20, 2)]


@pytest.mark.parametrize(
    ("flow", "resistance", "supposed"),
    [
        pytest.param([(1, 90), (1, 60), (3, GAP), (7, 60)], ALL_ALONG, [2, 3, 4], id="joined"),
        pytest.param([(1, 90), (1, 60), (8, GAP), (2, 0)], ALL_ALONG, [2, 3, 4], id="after-flow"),
        pytest.param([(8, BAD), (1, 60), (3, 90)], ALL_ALONG, [5, 6, 7], id="before-flow"),
        pytest.param(
            [(1, 90), (1, 60), (8, GAP), (2, 60)], ALL_ALONG, [2, 3, 4, 7, 8, 9], id="not-joined"
        ),
        pytest.param([(1, 90), (1, 60), (8, GAP)], [(4, 2)], [2], id="the-record-ends"),
        pytest.param([(2, GAP), (2, 90), (8, 60)], ALL_ALONG, [], id="before-the-meter-spoke"),
    ],
)
def test_unknown_flow_counts_where_it_can_belong_to_flow_on_record(
    flow: Sequence[Stretch], resistance: Sequence[Stretch], supposed: list[int]
) -> None:
    """The readings of the bond are a second apart: the last is a second before their end."""
    found = driven(RESUMES, 12, flow=flow, resistance=resistance)
    assert found is not None
    at = found.edges.searchsorted([ns(n + 0.5) for n in range(12)]) - 1
    high = found.flow[Level.HIGH][at]
    assert np.flatnonzero(found.flow_unknown[at]).tolist() == supposed
    assert high[supposed].tolist() == [90] * len(supposed)
    assert found.flow[Level.LOW][at][supposed].tolist() == [0] * len(supposed)
    for level in Level:
        assert not found.flow[level][found.flow_apart].any()


def test_days_of_silence_between_two_transfers_are_no_flow() -> None:
    week = 7 * 86_400
    flow: Sequence[Stretch] = [(60, 60), (week, GAP), (60, 60)]
    found = driven(METERED, week + 120, resistance=[(week + 120, OPEN)], flow=flow)
    assert found is not None
    assert found.seconds(found.flow_unknown) == 2 * METERED.limits.resume_within_s
    assert found.seconds(found.flow_apart) == week - 1200
    assert found.seconds(found.flowing) == 120 + 1200


@pytest.mark.parametrize(
    ("heard", "supposed"),
    [
        pytest.param({Role.FLOW: (ns(-9), ns(5))}, [0, 1], id="the-meter-was-heard-before"),
        pytest.param({Role.FLOW: (ns(1), ns(5))}, [1], id="heard-for-the-first-time-in-it"),
        pytest.param(
            {Role.FLOW: (ns(2), ns(99)), Role.RESISTANCE: (ns(0), ns(5))}, [5, 6], id="heard-later"
        ),
    ],
)
def test_what_is_on_record_around_the_span_bounds_the_unknown(
    heard: Heard, supposed: list[int]
) -> None:
    span = 0, ns(7)
    recorded = told(resistance=[(6, 2)], flow=[(2, GAP), (3, 60)])
    found = drive(RESUMES, recorded, situation(RESUMES, recorded, span), span, LEAK, heard)
    assert found is not None
    at = found.edges.searchsorted([ns(n + 0.5) for n in range(7)]) - 1
    assert np.flatnonzero(found.flow_unknown[at]).tolist() == supposed


@pytest.mark.parametrize(
    ("flow", "expected"),
    [
        pytest.param([(1, 60), (1, GAP), (1, 90)], [(5, 60, 90)], id="the-last-known"),
        pytest.param([(1, 0), (1, BAD), (1, 90)], [(5, 90, 90)], id="flowed-at-the-next-known"),
        pytest.param([(1, 0), (1, GAP), (1, 2)], [(5, 5, 5)], id="no-rate-of-flow-on-record"),
    ],
)
def test_flow_that_is_on_by_its_contact_is_no_less_than_counts_as_flow(
    flow: Sequence[Stretch], expected: list[tuple[float, ...]]
) -> None:
    both = station(Role.FLOW, Role.RUNNING, flow_min=5)
    found = by_level(both, "flow", flow=flow, running=[(1, 0), (1, 1), (1, 0)])
    assert found[1:2] == expected
    told_on = driven(both, 3, flow=flow, running=[(1, 0), (1, 1), (1, 0)])
    assert told_on is not None
    assert told_on.seconds(told_on.flow_unread) == 1
    assert not told_on.flow_unknown.any()


def test_where_the_contact_says_off_a_meter_that_is_silent_is_away_from_flow() -> None:
    of = rated(Role.FLOW, Role.RUNNING).model_copy(update={"limits": RESUMES.limits})
    found = driven(of, 9, flow=[(9, BAD)], running=[(1, 1), (8, 0)])
    assert found is not None
    assert found.flow[Level.HIGH].tolist() == [100, 100, 0]
    assert (found.seconds(found.flow_unknown), found.seconds(found.flow_apart)) == (3, 5)


def test_rated_flow_while_it_runs() -> None:
    found = by_level(rated(Role.RUNNING), "flow", running=[(1, 0), (1, 1), (1, GAP), (1, 0)])
    assert found == [(0, 0, 0), (100, 100, 100), (0, 100, 100), (0, 0, 0)]


def test_a_silent_contact_may_have_meant_the_rated_flow() -> None:
    assert by_level(rated(Role.RUNNING), "flow", running=[(1, BAD)]) == [(0, 100, 100)]


LOST: Sequence[Stretch] = [(1, 60), (1, GAP), (1, 0)]


def test_the_rated_flow_bounds_what_a_meter_does_not_tell() -> None:
    of = rated(Role.FLOW, flow=500)
    assert by_level(of, "flow", flow=LOST) == [(60, 60, 60), (0, 60, 500), NONE]


def test_a_rated_flow_in_another_unit_does_not() -> None:
    of = rated(Role.FLOW, unit="kg", flow=500)
    assert by_level(of, "flow", flow=LOST) == [(60, 60, 60), (0, 60, 60), NONE]


def test_the_rated_flow_stands_in_for_a_meter_that_says_nothing() -> None:
    of = rated(Role.FLOW, Role.RUNNING)
    assert by_level(of, "flow", flow=[(1, BAD)], running=[(1, 1)]) == [(100, 100, 100)]


NO_FLOW = [
    pytest.param(METERED, {"flow": [(2, BAD)]}, id="meter-says-nothing"),
    pytest.param(METERED, {"flow": [(2, INF)]}, id="meter-is-beyond-its-range"),
    pytest.param(station(Role.RUNNING), {"running": [(2, 1)]}, id="runs-at-an-unknown-rate"),
    pytest.param(station(Role.RESISTANCE), {"resistance": [(2, 1)]}, id="no-point-for-it"),
]


@pytest.mark.parametrize(("of", "signals"), NO_FLOW)
def test_flow_that_is_known_nowhere(of: Station, signals: dict[str, Sequence[Stretch]]) -> None:
    assert driven(of, 2, **signals) is None


def test_steps_are_all_of_the_span_and_change_with_either() -> None:
    found = driven(METERED, 5, resistance=[(2, 2), (3, OPEN)], flow=[(3, 60), (2, 0)])
    assert found is not None
    assert found.edges.tolist() == [0, ns(2), ns(3), ns(5)]
    assert found.step_s.tolist() == [2, 1, 2]
    assert found.bond_open.tolist() == [False, True, True]
    assert found.flowing.tolist() == [True, True, False]
    assert found.seconds(found.bond_open & found.flowing) == 1


@pytest.mark.parametrize(
    ("flow", "expected"),
    [
        pytest.param([(2, 0), (3, 50), (5, 70)], 50, id="seen-to-begin"),
        pytest.param([(2, 0), (2, 50), (6, 70)], 70, id="faster-before-it-is-over"),
        pytest.param([(2, 0), (1, 3), (3, 50), (4, 70)], 50, id="too-slow-to-count-before"),
        pytest.param([(10, 50)], None, id="flows-as-the-span-begins"),
        pytest.param([(2, 0), (2, BAD), (6, 50)], None, id="began-while-unknown"),
        pytest.param([(10, 0)], None, id="never-flows"),
    ],
)
def test_the_greatest_flow_after_it_began(flow: Sequence[Stretch], expected: float | None) -> None:
    found = driven(station(Role.FLOW, flow_min=5), 10, flow=flow)
    assert found is not None
    assert found.opening(5, 3.0) == expected


@pytest.mark.parametrize("seed", range(5))
def test_levels_rise_whatever_is_recorded(seed: int) -> None:
    draw = random.Random(seed)
    read: list[float | str] = [0, 3, 50, 4e4, 1e5, 3e7, 5e9, OPEN, GAP, BAD]
    rates: list[float | str] = [0, 5, 700, 812.5, GAP, BAD]
    ohms = [(1, draw.choice(read)) for _ in range(60)]
    flows = [(1.5, draw.choice(rates)) for _ in range(40)]
    found = driven(METERED, 60, resistance=ohms, flow=flows)
    assert found is not None
    for levels in (found.flow, found.resistance_ohm):
        low, typical, high = (levels[level] for level in Level)
        assert np.all((low >= 0) & (low <= typical) & (typical <= high))
