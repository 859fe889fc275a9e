"""Hookups in order, and the work that begins a stretch of them anew."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.core.stretches import (
    LONGEST,
    NS_PER_DAY,
    between_work,
    bonded,
    chance_not_lower,
)
from bondtrail.results import Hookup, Outcome, WorkWindow

HIGH, LOW = [5.0, 5.2, 4.9, 5.1, 5.3], [2.0, 2.2, 1.9, 2.1, 2.3]
"""Five of each; their ranks do not overlap."""


def hookup(day: float, ohm: float | None, outcome: Outcome = Outcome.VERIFIED) -> Hookup:
    start = round(day * NS_PER_DAY)
    return Hookup("spot", start, start + 10**12, outcome, 2.0, ohm, ohm, None)


def cut(ohm: list[float], work: list[tuple[float, float]]) -> list[list[float]]:
    """A hookup a day from day 0 on, cut by work between the days given."""
    hookups = [hookup(day, value) for day, value in enumerate(ohm)]
    windows = [
        WorkWindow("spot", round(a * NS_PER_DAY), round(b * NS_PER_DAY), "done") for a, b in work
    ]
    return [stretch.ohm.tolist() for stretch in between_work(bonded(hookups), windows)]


def test_only_verified_hookups_with_a_resistance_count_in_order() -> None:
    rows = [
        hookup(3, 3.0),
        hookup(1, 1.0),
        hookup(2, 200.0, Outcome.FAILED),
        hookup(4, None),
        hookup(5, math.inf),
    ]
    stretch = bonded(rows)
    assert stretch.ohm.tolist() == [1.0, 3.0]
    assert stretch.days.tolist() == [-2.0, 0.0]


def test_no_hookups_make_no_stretch() -> None:
    assert between_work(bonded([]), []) == []


@pytest.mark.parametrize(
    ("ohm", "work", "lengths"),
    [
        pytest.param(HIGH + LOW, [], [10], id="no-work"),
        pytest.param(HIGH + LOW, [(4.2, 4.8)], [5, 5], id="lower-after-work"),
        pytest.param(LOW + HIGH, [(4.2, 4.8)], [10], id="higher-after-work"),
        pytest.param(LOW + LOW, [(4.2, 4.8)], [10], id="the-same-after-work"),
        pytest.param(HIGH + LOW[:4], [(4.2, 4.8)], [9], id="too-few-after"),
        pytest.param(HIGH[:4] + LOW, [(3.2, 3.8)], [9], id="too-few-before"),
        pytest.param(HIGH + LOW, [(-3, -2), (40, 41)], [10], id="work-outside"),
        pytest.param(HIGH + LOW, [(4.2, 4.4), (4.3, 4.8)], [5, 5], id="overlapping-work-is-one"),
        pytest.param(HIGH + LOW, [(4.2, 4.4), (4.6, 4.8)], [5, 5], id="twice-before-the-next"),
        pytest.param([*HIGH, 9.0, 9.0, *LOW], [(4.5, 6.5)], [5, 5], id="hookups-during-work"),
        pytest.param(
            HIGH + LOW * 2 + HIGH * 2 + LOW,
            [(4.2, 4.8), (24.2, 24.8)],
            [5, 20, 5],
            id="twice-lower",
        ),
    ],
)
def test_between_work(
    ohm: list[float], work: list[tuple[float, float]], lengths: list[int]
) -> None:
    assert [len(stretch) for stretch in cut(ohm, work)] == lengths


@pytest.mark.parametrize("at", range(6, 34))
def test_daily_work_is_cut_where_the_resistance_fell(at: int) -> None:
    # Only one hookup between one clean-down and the next: those after it go on past the next.
    ohm = [5.0 + 0.01 * day for day in range(at)] + [2.0 + 0.01 * day for day in range(40 - at)]
    daily = [(day + 0.4, day + 0.6) for day in range(-1, 40)]
    assert [len(stretch) for stretch in cut(ohm, daily)] == [at, 40 - at]


def test_only_ten_beside_the_work_are_compared() -> None:
    # Over the whole history those before are lower; over the last ten they are higher.
    stretches = cut([1.0] * 100 + [5.0] * 10 + [2.0] * 100, [(109.2, 109.8)])
    assert [len(stretch) for stretch in stretches] == [110, 100]


def test_only_the_latest_of_a_stretch_are_kept() -> None:
    (stretch,) = cut([float(day) for day in range(LONGEST + 7)], [])
    assert len(stretch) == LONGEST
    assert stretch[0] == 7.0


@settings(max_examples=80, deadline=None)
@given(
    before=st.lists(st.integers(0, 9).map(float), min_size=2, max_size=12),
    after=st.lists(st.integers(0, 9).map(float), min_size=2, max_size=12),
)
def test_chance_agrees_with_scipy(before: list[float], after: list[float]) -> None:
    found = chance_not_lower(np.array(before), np.array(after))
    if len({*before, *after}) == 1:
        assert found == 1.0
        return
    expected = stats.mannwhitneyu(before, after, alternative="greater", method="asymptotic").pvalue
    assert found == (pytest.approx(expected) if expected < 0.499 else 1.0)
