"""Shares with their Wilson interval, and the exact one beside it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some
from scipy.stats import binom, binomtest

from analytics.core.shares import (
    FEW,
    INTERVALS,
    Estimates,
    Share,
    TimeShare,
    clopper_pearson_many,
    wilson,
    wilson_many,
)


def exact(count: int, of: int) -> Share:
    """One share of the many, by its exact interval."""
    value, low, high = (
        None if np.isnan(part[0]) else float(part[0])
        for part in clopper_pearson_many([count], [of])
    )
    return Share(value, low, high, count, of)


ALONE = [pytest.param(wilson, id="wilson"), pytest.param(exact, id="exact")]
Many = Callable[[list[int], list[int]], Estimates]
MANY = [pytest.param(INTERVALS[name], id=name) for name in INTERVALS]


@some.composite
def parts(draw: some.DrawFn) -> tuple[int, int]:
    """So many of so many, one or more."""
    of = draw(some.integers(1, 5000))
    return draw(some.integers(0, of)), of


def ends(share: Share) -> tuple[float, float, float]:
    assert share.value is not None
    assert share.low is not None
    assert share.high is not None
    return share.value, share.low, share.high


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [
        # R. G. Newcombe, Two-sided confidence intervals for the single proportion, Statistics in
        # Medicine 17 (1998) 857-872, Table I, method 3 (Wilson score). It rounds to 4 decimals.
        pytest.param(81, 263, 0.2553, 0.3662, id="newcombe-1998-table-i-81-of-263"),
        pytest.param(15, 148, 0.0624, 0.1605, id="newcombe-1998-table-i-15-of-148"),
        pytest.param(1, 29, 0.0061, 0.1718, id="newcombe-1998-table-i-1-of-29"),
    ],
)
def test_wilson_matches_published(count: int, of: int, low: float, high: float) -> None:
    share = wilson(count, of)
    assert share.value == pytest.approx(count / of)
    assert share.low == pytest.approx(low, abs=0.00005)
    assert share.high == pytest.approx(high, abs=0.00005)
    assert (share.count, share.of) == (count, of)


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [
        # With z = 1.959964: z^2 / (n + z^2) at the far end, and exactly the share at the near one.
        pytest.param(0, 10, 0.0, 0.277533, id="none-of-ten"),
        pytest.param(10, 10, 0.722467, 1.0, id="all-of-ten"),
        pytest.param(1, 1, 0.206549, 1.0, id="one-of-one"),
    ],
)
def test_wilson_at_its_ends(count: int, of: int, low: float, high: float) -> None:
    share = wilson(count, of)
    assert (share.low, share.high) == pytest.approx((low, high), abs=1e-6)


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [
        # R. G. Newcombe (1998), Table I, method 5 (exact), from memory; scipy gives the same.
        pytest.param(81, 263, 0.2527, 0.3676, id="newcombe-1998-table-i-81-of-263"),
        pytest.param(15, 148, 0.0578, 0.1617, id="newcombe-1998-table-i-15-of-148"),
        pytest.param(1, 29, 0.0009, 0.1776, id="newcombe-1998-table-i-1-of-29"),
    ],
)
def test_clopper_pearson_matches_published(count: int, of: int, low: float, high: float) -> None:
    share = exact(count, of)
    assert share.value == pytest.approx(count / of)
    assert share.low == pytest.approx(low, abs=0.00005)
    assert share.high == pytest.approx(high, abs=0.00005)
    assert (share.count, share.of) == (count, of)


@pytest.mark.parametrize("interval", ALONE)
def test_a_share_of_nothing_has_no_value(interval: Callable[[int, int], Share]) -> None:
    assert interval(0, 0) == Share(None, None, None, 0, 0)


@pytest.mark.parametrize(
    ("count", "of"),
    [
        pytest.param(-1, 10, id="below-nothing"),
        pytest.param(11, 10, id="more-than-all"),
        pytest.param(1, 0, id="some-of-nothing"),
        pytest.param(0, -1, id="of-less-than-nothing"),
    ],
)
def test_a_count_outside_is_refused(count: int, of: int) -> None:
    with pytest.raises(ValueError, match=f"count must lie in 0 .. {of}, got {count}"):
        wilson(count, of)
    for interval in INTERVALS.values():
        with pytest.raises(ValueError, match=f"count must lie in 0 .. {of}, got {count}"):
            interval([1, count], [2, of])


def test_below_five_is_too_few_to_rank() -> None:
    assert wilson(0, FEW - 1).is_few
    assert not wilson(0, FEW).is_few
    assert FEW == 5


@pytest.mark.parametrize("of", [1, 2, 5, 17, 100, 5000])
def test_intervals_agree_with_scipy(of: int) -> None:
    for count in range(0, of + 1, max(1, of // 37)):
        found = wilson(count, of)
        expected = binomtest(count, of).proportion_ci(0.95, method="wilson")
        assert (found.low, found.high) == pytest.approx((expected.low, expected.high), abs=1e-12)
        found, expected = exact(count, of), binomtest(count, of).proportion_ci(0.95)
        assert (found.low, found.high) == pytest.approx((expected.low, expected.high), abs=1e-9)


@pytest.mark.parametrize("interval", ALONE)
@given(part=parts())
def test_an_interval_holds_its_share_and_mirrors(
    interval: Callable[[int, int], Share], part: tuple[int, int]
) -> None:
    count, of = part
    value, low, high = ends(interval(count, of))
    assert 0 <= low <= value <= high <= 1
    assert (low == 0) == (count == 0)
    assert (high == 1) == (count == of)
    mirrored = ends(interval(of - count, of))
    assert (1 - value, 1 - high, 1 - low) == pytest.approx(mirrored, abs=1e-9)


@pytest.mark.parametrize("interval", ALONE)
@given(part=parts(), times=some.integers(2, 50))
def test_an_interval_narrows_with_more_of_the_same(
    interval: Callable[[int, int], Share], part: tuple[int, int], times: int
) -> None:
    count, of = part
    _, low, high = ends(interval(count, of))
    _, lower, higher = ends(interval(times * count, times * of))
    assert higher - lower < high - low


@pytest.mark.parametrize("of", [5, 30, 100])
def test_the_exact_interval_covers_the_truth_at_least_so_often(of: int) -> None:
    truths = np.linspace(0.005, 0.995, 199)
    chances = binom.pmf(np.arange(of + 1)[:, np.newaxis], of, truths)
    for interval, least in ((wilson, 0.83), (exact, 0.95)):
        found = [ends(interval(count, of)) for count in range(of + 1)]
        holds = np.array([(low <= truths) & (truths <= high) for _, low, high in found])
        covered = (chances * holds).sum(axis=0)
        assert covered.min() >= least
        assert covered.mean() >= 0.95 - 0.001


@pytest.mark.parametrize(("many", "alone"), [(wilson_many, wilson), (clopper_pearson_many, exact)])
@given(pairs=some.lists(parts(), max_size=20))
def test_many_shares_are_each_alone(
    many: Many, alone: Callable[[int, int], Share], pairs: list[tuple[int, int]]
) -> None:
    found = many([count for count, _ in pairs], [of for _, of in pairs])
    rows = list(zip(*(part.tolist() for part in found), strict=True))
    assert rows == [pytest.approx(ends(alone(*pair)), abs=1e-15) for pair in pairs]


@pytest.mark.parametrize("many", MANY)
def test_many_shares_with_nothing_among_them_have_no_value(many: Many) -> None:
    found = many([0, 0, 3], [0, 3, 3])
    assert np.isnan(found.value).tolist() == [True, False, False]
    assert np.isnan(found.low).tolist() == [True, False, False]
    assert np.isnan(found.high).tolist() == [True, False, False]
    assert (found.low[1], found.high[2]) == (0.0, 1.0)


def test_only_no_time_at_all_is_too_little_to_rank() -> None:
    assert TimeShare(None, None, None, 0.0, 0.0).is_few
    assert not TimeShare(0.25, None, None, 1.0, 4.0).is_few
