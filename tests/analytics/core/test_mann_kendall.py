"""The test for a rise or fall, and the slope, against published values and libraries."""

from __future__ import annotations

import warnings

import numpy as np
import pymannkendall
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.datasets import nile

from analytics.core.mann_kendall import Slope, mann_kendall, sen_slope

NILE = nile.load_pandas().data["volume"].to_numpy(float)
"""Yearly flow of the Nile, 1871 to 1970."""

VALUES = st.lists(st.integers(-20, 20).map(float), min_size=2, max_size=40)


def test_gilberts_four_values() -> None:
    # R. O. Gilbert, Statistical Methods for Environmental Pollution Monitoring (1987), section
    # 16.4, from memory.
    test = mann_kendall(np.array([10.0, 15.0, 14.0, 20.0]))
    assert test.s == 4
    assert test.variance == pytest.approx(8.666667, abs=5e-7)


def test_the_nile_falls() -> None:
    # The packages pymannkendall 1.4 and scipy 1.17 on the data set of statsmodels.
    test = mann_kendall(NILE)
    assert test.s == -1387
    assert test.variance == pytest.approx(112728.33, abs=5e-3)
    assert test.z == pytest.approx(-4.128067, abs=5e-7)
    assert test.p_value == pytest.approx(3.65826e-5, abs=5e-10)


def test_the_slope_of_the_nile() -> None:
    # The same packages: -2.6 per year and the 95 % interval of scipy.
    slope = sen_slope(np.arange(100.0), NILE)
    assert slope is not None
    assert slope.value == pytest.approx(-2.6)
    assert slope.low == pytest.approx(-3.627907, abs=5e-7)
    assert slope.high == pytest.approx(-1.428571, abs=5e-7)


@settings(max_examples=60, deadline=None)
@given(values=VALUES)
def test_agrees_with_pymannkendall(values: list[float]) -> None:
    found = mann_kendall(np.array(values))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it divides by the variance of values all alike
        other = pymannkendall.original_test(values)
    assert found.s == other.s
    assert found.variance == pytest.approx(other.var_s)
    assert found.z == pytest.approx(other.z)
    assert found.p_value == pytest.approx(other.p, abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(values=VALUES, gaps=st.data())
def test_slope_agrees_with_scipy(values: list[float], gaps: st.DataObject) -> None:
    size = len(values)
    steps = gaps.draw(st.lists(st.integers(0, 3), min_size=size, max_size=size))
    x, y = np.cumsum(steps).astype(float), np.array(values)
    found = sen_slope(x, y)
    if found is None:
        assert x[0] == x[-1]
        return
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # the root of a variance below 0: see below
        value, _, low, high = stats.theilslopes(y, x, 0.95)
    if np.isnan(low):
        # Ties in both may take more from the variance than there is, such as a lone step among
        # values all alike. scipy has no interval then; ours has no width in rank.
        low, high = found.low, found.high
        assert low <= value <= high
    assert found == Slope(pytest.approx(value), pytest.approx(low), pytest.approx(high))


@settings(max_examples=60, deadline=None)
@given(values=VALUES)
def test_what_is_mirrored_turns_around(values: list[float]) -> None:
    y = np.array(values)
    test, turned = mann_kendall(y), mann_kendall(y[::-1])
    assert (turned.s, turned.z) == (-test.s, -test.z)
    assert turned.p_value == test.p_value
    x = np.arange(float(y.size))
    slope, falling = sen_slope(x, y), sen_slope(x, -y)
    assert slope is not None
    assert falling is not None
    assert falling.value == pytest.approx(-slope.value)


@settings(max_examples=60, deadline=None)
@given(values=VALUES, shift=st.floats(-100, 100), days=st.floats(0.01, 100))
def test_a_shift_does_not_matter_and_the_unit_of_time_divides(
    values: list[float], shift: float, days: float
) -> None:
    x, y = np.arange(float(len(values))), np.array(values)
    slope, moved = sen_slope(x, y), sen_slope(x * days + shift, y + shift)
    assert slope is not None
    assert moved is not None
    assert moved.value * days == pytest.approx(slope.value, abs=1e-9)
    assert moved.high * days == pytest.approx(slope.high, abs=1e-9)


@pytest.mark.parametrize(
    ("values", "s", "p_value"),
    [
        pytest.param([], 0, 1.0, id="nothing"),
        pytest.param([3.0], 0, 1.0, id="one"),
        pytest.param([3.0, 3.0, 3.0], 0, 1.0, id="all-alike"),
    ],
)
def test_nothing_to_see(values: list[float], s: int, p_value: float) -> None:
    test = mann_kendall(np.array(values, float))
    assert (test.s, test.z, test.p_value) == (s, 0.0, p_value)


@pytest.mark.parametrize(
    "x", [pytest.param([], id="nothing"), pytest.param([2.0, 2.0], id="one-moment")]
)
def test_no_slope_without_time(x: list[float]) -> None:
    assert sen_slope(np.array(x), np.array(x)) is None


def test_one_wild_value_does_not_move_the_slope() -> None:
    x = np.arange(30.0)
    y = 0.1 * x
    y[7] = 1e6
    slope = sen_slope(x, y)
    assert slope is not None
    assert slope.value == pytest.approx(0.1)
