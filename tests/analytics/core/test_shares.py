"""Shares with their Wilson interval."""

from __future__ import annotations

import pytest
from scipy.stats import binomtest

from analytics.core.shares import FEW, Share, wilson


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
    assert (share.low, share.high) == (pytest.approx(low, abs=1e-6), pytest.approx(high, abs=1e-6))


def test_a_share_of_nothing_has_no_value() -> None:
    assert wilson(0, 0) == Share(None, None, None, 0, 0)


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


def test_below_five_is_too_few_to_rank() -> None:
    assert wilson(0, FEW - 1).is_few
    assert not wilson(0, FEW).is_few
    assert FEW == 5


@pytest.mark.parametrize("of", [1, 2, 5, 17, 100, 5000])
def test_wilson_agrees_with_scipy(of: int) -> None:
    for count in range(0, of + 1, max(1, of // 37)):
        found = wilson(count, of)
        expected = binomtest(count, of).proportion_ci(0.95, method="wilson")
        assert (found.low, found.high) == pytest.approx((expected.low, expected.high), abs=1e-12)
