"""How signals run in the good transfers, and where another one leaves their range."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analytics.core.courses import Recorded, leaves_range, typical_course
from analytics.core.typical import FEW
from tests.analytics.core.build import GAP, OPEN, Stretch, held, ns

ZERO = 1000.0


def flow(*stretches: Stretch, before: float = 0, after: float = 200) -> Recorded:
    """A signal from the first flow on, at 1000 s; nothing is taken from outside."""
    samples = held((100, before), *stretches, start=ZERO - 100)
    return Recorded(samples, ns(2), ns(ZERO), (ns(ZERO - 100), ns(ZERO + after)))


GOOD = [flow((100, rate), (100, 0)) for rate in (800, 810, 820, 830, 840)]
COURSE = typical_course(GOOD, -50, 150, 201)


@pytest.mark.parametrize(
    ("second", "expected"),
    [
        (-50, (0, 0, 0)),
        (-1, (0, 0, 0)),
        (0, (800, 820, 840)),
        (99, (800, 820, 840)),
        (101, (0,) * 3),
    ],
)
def test_a_course_is_the_range_at_each_moment(
    second: int, expected: tuple[float, float, float]
) -> None:
    k = second + 50
    assert COURSE.offset_s[k] == second
    assert (COURSE.low[k], COURSE.median[k], COURSE.high[k]) == expected


def test_where_fewer_than_five_are_known_nothing_is_typical() -> None:
    some = [*GOOD[: FEW - 1], flow((50, 800), (50, GAP), (100, 0))]
    course = typical_course(some, 0, 99, 100)
    assert not np.isnan(course.median[:51]).any()
    assert np.isnan(course.median[52:]).all()
    assert np.isnan(typical_course([], 0, 10, 11).high).all()


def test_nothing_is_taken_from_outside_a_transfer() -> None:
    short = [flow((100, 800), (400, 0), after=150) for _ in range(FEW)]
    course = typical_course(short, 0, 300, 301)
    assert course.median[149] == 0
    assert np.isnan(course.median[150:]).all()


def test_open_circuit_is_a_value_like_any() -> None:
    ohms = [flow((100, 3.0), (100, OPEN), before=OPEN) for _ in range(FEW)]
    course = typical_course(ohms, -50, 150, 201)
    assert math.isinf(course.median[0])
    assert course.median[60] == 3


@pytest.mark.parametrize(
    ("this", "expected"),
    [
        pytest.param(flow((100, 815), (100, 0)), None, id="within"),
        pytest.param(flow((100, 1000), (100, 0)), None, id="a-fifth-more-is-no-other"),
        pytest.param(flow((100, 1100), (100, 0)), (0, 1100), id="from-the-start"),
        pytest.param(flow((40, 815), (9, 0), (51, 815), (100, 0)), None, id="back-within-10-s"),
        pytest.param(flow((40, 815), (10, 0), (50, 815), (100, 0)), (40, 0), id="stopped-for-10-s"),
        pytest.param(flow((130, 815), (70, 0)), (100, 815), id="goes-on-longer"),
        pytest.param(flow((40, 815), (160, GAP)), None, id="a-silence-is-no-difference"),
    ],
)
def test_leaving_the_range(this: Recorded, expected: tuple[float, float] | None) -> None:
    found = leaves_range("flow_L_min", this, COURSE, len(GOOD))
    if expected is None:
        assert found is None
        return
    assert found is not None
    assert ((found.moment - ns(ZERO)) / ns(1), found.value) == expected
    assert found.differs is True
    assert found.of == 5


def test_a_lower_resistance_is_no_difference() -> None:
    ohms = [flow((100, ohm), (100, OPEN), before=OPEN) for ohm in (3, 4, 5, 6, 7)]
    course = typical_course(ohms, -50, 150, 201)
    low = flow((100, 0.5), (100, OPEN), before=OPEN)
    lost = flow((60, 5), (140, OPEN), before=OPEN)
    assert leaves_range("resistance_ohm", low, course, 5, only_above=True) is None
    found = leaves_range("resistance_ohm", lost, course, 5, only_above=True)
    assert found is not None
    assert ((found.moment - ns(ZERO)) / ns(1), found.value) == (60, math.inf)
    assert (found.low, found.high) == (3, 7)


def test_a_signal_without_readings_leaves_nothing() -> None:
    silent = Recorded(held(), ns(2), ns(ZERO), (ns(ZERO - 100), ns(ZERO + 200)))
    assert leaves_range("flow_L_min", silent, COURSE, 5) is None
