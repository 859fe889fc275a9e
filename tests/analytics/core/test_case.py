"""A station's case: what every rule asks for, worked out once."""

from __future__ import annotations

import pytest

from bondtrail.results import Outcome
from tests.analytics.core.build import GAP, OPEN, case, ns, pairs, spans, told

TWO_TRANSFERS = told(
    resistance=[(5, OPEN), (95, 2.0), (2, OPEN), (2, 2.0), (16, OPEN)],
    flow=[(10, 0.0), (20, 60.0), (30, 0.0), (3, 60.0), (7, 0.0), (20, 120.0), (30, 0.0)],
)
"""Flow from 10 to 30 s, for 3 s from 60 s on, and from 70 to 90 s."""


def test_flow_counts_where_it_makes_a_transfer() -> None:
    told_case = case(TWO_TRANSFERS, until=120, resume_within_s=5)
    assert [(t.start, t.end) for t in told_case.transfers] == [(ns(10), ns(30)), (ns(70), ns(90))]
    assert pairs(told_case.flowing) == [(10, 30), (70, 90)]
    assert pairs(told_case.flow) == [(10, 30), (60, 63), (70, 90)]


@pytest.mark.parametrize(
    ("start", "end", "expected"),
    [
        pytest.param(0, 10, None, id="ends-as-the-first-begins"),
        pytest.param(0, 10.001, "spot/19700101T000010.000Z", id="overlaps-a-little"),
        pytest.param(0, 99, "spot/19700101T000010.000Z", id="the-earliest-of-several"),
        pytest.param(30, 70, None, id="between"),
        pytest.param(29, 29, "spot/19700101T000010.000Z", id="a-moment-inside"),
        pytest.param(30, 30, None, id="the-moment-at-its-end"),
        pytest.param(70, 70, "spot/19700101T000110.000Z", id="the-moment-at-its-start"),
        pytest.param(90, 200, None, id="after-all"),
    ],
)
def test_transfer_at(start: float, end: float, expected: str | None) -> None:
    told_case = case(TWO_TRANSFERS, until=120, resume_within_s=5)
    assert told_case.transfer_at(ns(start), ns(end)) == expected


def test_volume_of_spans() -> None:
    told_case = case(TWO_TRANSFERS, until=120)
    # 60 L/min is a litre each second, 120 L/min two.
    assert told_case.volume(spans((20, 25), (80, 83))) == 11.0
    assert told_case.volume(spans()) == 0.0


def test_without_a_flow_point_no_volume_is_known() -> None:
    assert case(told(running=[(20, 1.0)]), until=20).volume(spans((0, 9))) is None


def test_a_contact_is_a_hookup_or_a_mere_touch() -> None:
    told_case = case(TWO_TRANSFERS, until=120, detach_s=1)
    assert [(h.start, h.end, h.outcome) for h in told_case.hookups] == [
        (ns(5), ns(100), Outcome.VERIFIED)
    ]
    assert pairs(told_case.touches) == [(102, 104)]


def test_contact_for_exactly_the_least_is_a_hookup() -> None:
    signals = told(resistance=[(5, OPEN), (3, 300.0), (12, OPEN)])
    assert len(case(signals, until=20, hookup_min_s=3).hookups) == 1
    assert pairs(case(signals, until=20, hookup_min_s=3.001).touches) == [(5, 8)]


def test_a_fixed_item_is_never_hooked_up() -> None:
    told_case = case(TWO_TRANSFERS, until=120, kind="fixed_item")
    assert (told_case.hookups, len(told_case.touches), len(told_case.clamp.off)) == ([], 0, 0)


def test_a_case_without_points_says_nothing() -> None:
    nothing = case({}, until=20)
    assert (nothing.transfers, nothing.hookups) == ([], [])
    assert len(nothing.losses) == len(nothing.flow) == len(nothing.now.verified) == 0
    assert len(nothing.resistance) == 0


def test_exposures_are_those_of_transfers() -> None:
    signals = told(resistance=[(30, OPEN)], flow=[(5, 60.0), (10, 0.0), (12, 60.0), (3, GAP)])
    told_case = case(signals, until=30, resume_within_s=5)
    assert pairs(told_case.exposures.not_bonded) == [(15, 27)]
