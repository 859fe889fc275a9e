"""Shares over time with their limits, and counts with the vital few first."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some
from scipy.stats import binom

from analytics.core.charts import ParetoRow, p_chart, pareto

# NIST/SEMATECH e-Handbook 6.3.3.2: defective chips of 50 on each of 30 wafers.
WAFERS = [
    *(12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22),
    *(8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6),
]


def test_p_chart_matches_nist() -> None:
    found = p_chart(WAFERS, [50] * 30)
    # NIST/SEMATECH e-Handbook 6.3.3.2: centre .2313; it prints an upper limit of .4103 where its
    # own figures give .41024, and .0524 below.
    assert found.centre == pytest.approx(0.2313333, abs=1e-7)
    assert found.upper == pytest.approx(np.full(30, 0.4102391), abs=1e-7)
    assert found.lower == pytest.approx(np.full(30, 0.0524276), abs=1e-7)
    assert (np.flatnonzero(found.outside) + 1).tolist() == [15, 23]
    assert not found.is_rough.any()


def test_limits_are_wider_where_less_was_counted() -> None:
    # Our own worked example: centre 130 / 1300 = 0.1; 3 sqrt(0.09 / 100) = 0.09, and
    # 3 sqrt(0.09 / 900) = 0.03, and 3 sqrt(0.09 / 300) = 0.0519615.
    found = p_chart([20, 90, 20], [100, 900, 300])
    assert found.centre == pytest.approx(0.1)
    assert found.lower == pytest.approx([0.01, 0.07, 0.0480385], abs=1e-7)
    assert found.upper == pytest.approx([0.19, 0.13, 0.1519615], abs=1e-7)
    assert found.outside.tolist() == [True, False, False]


def test_limits_stay_within_nothing_and_all() -> None:
    found = p_chart([0, 1, 10], [10, 10, 10])
    assert found.lower.tolist() == [0.0, 0.0, 0.0]
    assert found.upper == pytest.approx([0.823832] * 3, abs=1e-6)
    assert found.outside.tolist() == [False, False, True]
    high = p_chart([10, 9, 0], [10, 10, 10])
    assert high.upper.tolist() == [1.0, 1.0, 1.0]
    assert high.outside.tolist() == [False, False, True]


@pytest.mark.parametrize("defective", [0, 10])
def test_what_never_varies_is_never_outside(defective: int) -> None:
    found = p_chart([defective] * 3, [10] * 3)
    assert found.centre == defective / 10
    assert found.lower.tolist() == found.upper.tolist() == [defective / 10] * 3
    assert not found.outside.any()


def test_a_period_without_any_has_no_share_and_no_limits() -> None:
    found = p_chart([5, 0, 5], [10, 0, 10])
    assert found.centre == 0.5
    for part in (found.share, found.lower, found.upper):
        assert np.isnan(part).tolist() == [False, True, False]
    assert not found.outside.any()
    assert found.is_rough.tolist() == [False, True, False]


@pytest.mark.parametrize("periods", [0, 2])
def test_nothing_at_all_has_no_centre(periods: int) -> None:
    found = p_chart([0] * periods, [0] * periods)
    assert found.centre is None
    assert len(found.share) == periods
    assert not found.outside.any()


@pytest.mark.parametrize(
    ("counts", "rough"),
    [
        # Expected of 100, or the rest of it: 5 or more is enough.
        pytest.param([5, 5], False, id="five-expected"),
        pytest.param([5, 4], True, id="just-fewer"),
        pytest.param([95, 95], False, id="five-of-the-rest"),
        pytest.param([96, 95], True, id="just-fewer-of-the-rest"),
    ],
)
def test_limits_are_rough_where_few_are_expected(counts: list[int], rough: bool) -> None:
    assert p_chart(counts, [100, 100]).is_rough.tolist() == [rough, rough]


def test_a_point_outside_good_limits_is_rare_by_chance() -> None:
    # scipy: of 400 with a true share of 5 %, so few are outside by chance alone.
    chart = p_chart([20] * 50, [400] * 50)
    low, high = np.ceil(400 * chart.lower[0]) - 1, np.floor(400 * chart.upper[0])
    assert not chart.is_rough.any()
    assert binom.cdf(low, 400, 0.05) + binom.sf(high, 400, 0.05) < 0.005


@pytest.mark.parametrize(
    ("defective", "of", "words"),
    [
        pytest.param([1, 11], [10, 10], "every count must lie in", id="more-than-all"),
        pytest.param([1, -1], [10, 10], "every count must lie in", id="below-nothing"),
        pytest.param([1, 2], [10], "as many counts as wholes", id="one-short"),
    ],
)
def test_counts_that_cannot_be_are_refused(defective: list[int], of: list[int], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        p_chart(defective, of)


def test_pareto_puts_the_vital_few_first() -> None:
    rows = pareto({"layer": 1, "brief_contact_loss": 12, "monitor_fault": 0, "no_loss_seen": 7})
    assert rows == [
        ParetoRow("brief_contact_loss", 12, 0.6, 0.6),
        ParetoRow("no_loss_seen", 7, 0.35, 0.95),
        ParetoRow("layer", 1, 0.05, 1.0),
    ]


def test_pareto_keeps_equal_counts_in_their_order() -> None:
    assert [row.name for row in pareto({"b": 2, "c": 3, "a": 2, "d": 2})] == ["c", "b", "a", "d"]


@pytest.mark.parametrize("counts", [{}, {"a": 0}])
def test_pareto_of_nothing_is_empty(counts: dict[str, int]) -> None:
    assert pareto(counts) == []


def test_pareto_of_less_than_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="counts must be 0 or more, got -2"):
        pareto({"a": 1, "b": -2})


@given(some.dictionaries(some.text(max_size=3), some.integers(0, 1000)))
def test_pareto_adds_up(counts: dict[str, int]) -> None:
    rows = pareto(counts)
    assert {row.name: row.count for row in rows} == {
        name: count for name, count in counts.items() if count
    }
    assert [row.count for row in rows] == sorted((row.count for row in rows), reverse=True)
    assert sum(row.share for row in rows) == pytest.approx(1.0 if rows else 0.0)
    assert [row.cumulative for row in rows] == pytest.approx(
        np.cumsum([row.share for row in rows]).tolist()
    )
    assert all(row.cumulative == 1.0 for row in rows[-1:])
