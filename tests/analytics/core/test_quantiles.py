"""Histograms of times that add up, and quantiles within the error that is stated."""

from __future__ import annotations

import math
from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from analytics.core.quantiles import (
    LAST_BIN,
    RELATIVE_ERROR,
    bins_of,
    histogram,
    quantile,
    quantiles,
    upper_edge_s,
)

TIMES = some.lists(some.floats(0.01, 1e5), min_size=1, max_size=60)
HISTOGRAMS = some.dictionaries(some.integers(0, LAST_BIN), some.integers(1, 50), max_size=8)


@pytest.mark.parametrize(
    ("time_s", "expected"),
    [
        pytest.param(0.0, 0, id="none-at-all"),
        pytest.param(0.01, 0, id="shortest"),
        pytest.param(0.010001, 1, id="just-over-the-shortest"),
        pytest.param(0.1, 100, id="exactly-a-tenth"),
        pytest.param(1.0, 200, id="exactly-a-second"),
        pytest.param(1.000001, 201, id="just-over-a-second"),
        pytest.param(10.0, 300, id="exactly-ten"),
        pytest.param(100_000.0, 700, id="longest"),
        pytest.param(100_000.1, 701, id="just-over-the-longest"),
        pytest.param(math.inf, 701, id="without-end"),
    ],
)
def test_bins_hold_their_upper_edge(time_s: float, expected: int) -> None:
    assert bins_of([time_s]).tolist() == [expected]


@pytest.mark.parametrize("time_s", [-0.001, math.nan, -math.inf])
def test_a_time_below_nothing_is_refused(time_s: float) -> None:
    with pytest.raises(ValueError, match=f"a time must be 0 s or more, got {time_s}"):
        bins_of([1.0, time_s])


def test_every_bin_begins_where_the_one_before_it_ends() -> None:
    edges = [upper_edge_s(index) for index in range(LAST_BIN + 1)]
    assert edges[0] == 0.01
    assert edges[100] == 0.1
    assert edges[200] == 1.0
    assert edges[700] == 100_000.0
    assert edges[701] == math.inf
    # By the definition: 100 equal steps of the logarithm to a decade.
    assert np.diff(np.log10(edges[:-1])) == pytest.approx(np.full(700, 0.01), abs=1e-12)
    assert bins_of(edges).tolist() == list(range(LAST_BIN + 1))


@pytest.mark.parametrize("index", [-1, 702])
def test_there_is_no_other_bin(index: int) -> None:
    with pytest.raises(ValueError, match=f"a bin must be 0 .. 701, got {index}"):
        upper_edge_s(index)
    with pytest.raises(ValueError, match="a bin must be"):
        quantile({index: 1}, 0.5)


def test_histogram_counts_and_leaves_out_what_is_not_known() -> None:
    assert histogram([1.0, None, 0.999, 10.0, 1.0]) == {200: 3, 300: 1}
    assert list(histogram([10.0, 1.0])) == [200, 300]


@pytest.mark.parametrize("times", [[], [None, None]])
def test_histogram_of_nothing_is_empty(times: list[float | None]) -> None:
    assert histogram(times) == {}


@given(some.lists(TIMES, max_size=5))
def test_histograms_add_up_to_that_of_all_times(parts: list[list[float]]) -> None:
    added: Counter[int] = Counter()
    for part in parts:
        added.update(histogram(part))
    assert dict(added) == histogram(time for part in parts for time in part)


@given(TIMES, some.floats(0, 1))
def test_quantile_is_within_the_stated_error_of_that_of_the_times(
    times: list[float], q: float
) -> None:
    found = quantile(histogram(times), q)
    # numpy: percentile with its default, linear method.
    assert found == pytest.approx(np.percentile(times, 100 * q), rel=RELATIVE_ERROR * (1 + 1e-9))


def test_the_stated_error_is_under_twelve_in_a_thousand() -> None:
    assert 0.011 < RELATIVE_ERROR < 0.012


@pytest.mark.parametrize(
    ("counts", "q", "expected"),
    [
        # A bin's middle is 10 ** -0.005 = 0.988553 of its upper edge; our own worked examples.
        pytest.param({200: 1}, 0.5, 0.988553, id="one"),
        pytest.param({200: 1, 300: 1}, 0.5, 5.437042, id="half-way-between-two"),
        pytest.param({300: 1, 200: 1}, 0.5, 5.437042, id="in-any-order"),
        pytest.param({200: 3, 300: 1}, 0.5, 0.988553, id="inside-a-bin"),
        pytest.param({200: 19, 300: 1}, 0.95, 1.433402, id="twentieth-part-of-the-step"),
        pytest.param({200: 20, 300: 1}, 0.95, 0.988553, id="last-of-the-lower"),
        pytest.param({200: 1, 300: 1, 400: 1}, 1.0, 98.855309, id="longest"),
        pytest.param({200: 1, 300: 1, 400: 1}, 0.0, 0.988553, id="shortest"),
        pytest.param({0: 4}, 0.5, 0.01, id="shorter-than-the-shortest"),
        pytest.param({701: 4}, 0.5, 100_000.0, id="longer-than-the-longest"),
        pytest.param({200: 0, 300: 2}, 0.0, 9.885531, id="a-bin-that-counts-none"),
    ],
)
def test_quantile(counts: dict[int, int], q: float, expected: float) -> None:
    assert quantile(counts, q) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("counts", [{}, {200: 0}])
def test_quantile_of_nothing_is_not_known(counts: dict[int, int]) -> None:
    assert quantile(counts, 0.5) is None


@pytest.mark.parametrize("q", [-0.01, 1.01, math.nan])
def test_a_quantile_outside_is_refused(q: float) -> None:
    with pytest.raises(ValueError, match="q must lie in"):
        quantile({200: 1}, q)


@given(some.lists(HISTOGRAMS, max_size=6))
def test_many_at_once_are_each_alone(histograms: list[dict[int, int]]) -> None:
    found = quantiles(histograms, [0.5, 0.95])
    assert found.shape == (len(histograms), 2)
    for row, counts in zip(found.tolist(), histograms, strict=True):
        alone = [quantile(counts, q) for q in (0.5, 0.95)]
        assert [None if math.isnan(value) else value for value in row] == alone
