"""Rates of events with the exact interval of their count."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some
from scipy.stats import chi2
from statsmodels.stats.rates import confint_poisson

from analytics.core.rates import Rate, garwood, poisson_rate, poisson_rates
from analytics.core.shares import FEW

COUNTS = some.integers(0, 100_000)
EXPOSURES = some.floats(1e-3, 1e9)


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [
        # scipy: chi2.ppf(0.025, 2 k) / 2 and chi2.ppf(0.975, 2 k + 2) / 2. From memory, they are
        # what F. Garwood, Biometrika 28 (1936) 437-442, and later tables print.
        pytest.param(0, 0.0, 3.688879, id="none"),
        pytest.param(1, 0.0253178, 5.571643, id="1"),
        pytest.param(2, 0.2422093, 7.224688, id="2"),
        pytest.param(3, 0.6186721, 8.767273, id="3"),
        pytest.param(5, 1.623486, 11.66833, id="5"),
        pytest.param(10, 4.795389, 18.39036, id="10"),
        pytest.param(20, 12.21652, 30.88838, id="20"),
        pytest.param(50, 37.11096, 65.91877, id="50"),
        pytest.param(100, 81.36399, 121.6268, id="100"),
    ],
)
def test_counts_match_exact_tables(count: int, low: float, high: float) -> None:
    rate = poisson_rate(count, 1.0)
    assert (rate.low, rate.high) == pytest.approx((low, high), rel=1e-6)


def test_failures_of_air_conditioning_match_davison_and_hinkley() -> None:
    # Twelve gaps of together 1297 h between failures of aircraft air conditioning: 65.9 to
    # 209.2 h (Davison and Hinkley, Bootstrap Methods, from memory; more digits by scipy). The
    # period ends with a failure, so both limits have 24 degrees of freedom: those of 12 events
    # below and of 11 above.
    low, _ = garwood([12])
    _, high = garwood([11])
    assert 1297 / high[0] == pytest.approx(65.898, abs=1e-3)
    assert 1297 / low[0] == pytest.approx(209.174, abs=1e-3)


def test_fifteen_in_four_hundred_matches_r() -> None:
    # R's exact Poisson interval, as the tests of statsmodels quote it.
    rate = poisson_rate(15, 400)
    assert (rate.low, rate.high) == pytest.approx((0.02098847, 0.06185055), abs=1e-8)
    assert (rate.value, rate.count, rate.of) == (0.0375, 15, 400)


def test_three_demands_in_two_years_are_told_per_year() -> None:
    # scipy: chi2.ppf(0.025, 6) / 4 and chi2.ppf(0.975, 8) / 4.
    rate = poisson_rate(3, 2.0)
    assert (rate.value, rate.low, rate.high) == pytest.approx((1.5, 0.309336, 4.383637), abs=1e-6)


@pytest.mark.parametrize("count", [0, 1, 7, 100, 12_345, 1_000_000])
def test_limits_agree_with_statsmodels_and_scipy(count: int) -> None:
    low, high = garwood([count])
    assert (low[0], high[0]) == pytest.approx(confint_poisson(count, 1, method="exact-c"), rel=1e-9)
    assert high[0] == pytest.approx(chi2.isf(0.025, 2 * count + 2) / 2, rel=1e-9)


@pytest.mark.parametrize("count", [0, 3])
def test_a_rate_over_nothing_has_no_value(count: int) -> None:
    assert poisson_rate(count, 0.0, 100) == Rate(None, None, None, count, 0.0)
    assert np.isnan(poisson_rates([count], [0])).all()


@pytest.mark.parametrize(
    ("count", "exposure", "words"),
    [
        pytest.param(-1, 10, "count must be 0 or more, got -1", id="count"),
        pytest.param(1, -10, "exposure must be 0 or more, got -10", id="exposure"),
        pytest.param(1, float("nan"), "exposure must be 0 or more, got nan", id="not-a-number"),
    ],
)
def test_less_than_nothing_is_refused(count: int, exposure: float, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        poisson_rate(count, exposure)


def test_below_five_events_is_too_few_to_rank() -> None:
    assert poisson_rate(FEW - 1, 1e6).is_few
    assert not poisson_rate(FEW, 1.0).is_few


@given(COUNTS, EXPOSURES, some.sampled_from([1.0, 100.0, 1000.0]))
def test_an_interval_holds_its_rate_and_scales(count: int, exposure: float, per: float) -> None:
    rate, one = poisson_rate(count, exposure, per), poisson_rate(count, exposure)
    assert rate.low is not None
    assert rate.value is not None
    assert rate.high is not None
    assert 0 <= rate.low <= rate.value < rate.high
    assert (rate.low == 0) == (count == 0)
    assert (rate.value, rate.low, rate.high) == pytest.approx(
        tuple(per * part for part in (one.value, one.low, one.high) if part is not None)
    )


@given(some.integers(1, 1000), EXPOSURES, some.integers(2, 50))
def test_an_interval_narrows_with_more_of_the_same(count: int, exposure: float, times: int) -> None:
    found = poisson_rates([count, times * count], [exposure, times * exposure])
    wide, narrow = found.high - found.low
    assert narrow < wide


@given(some.lists(some.tuples(COUNTS, EXPOSURES), max_size=20))
def test_many_rates_are_each_alone(rows: list[tuple[int, float]]) -> None:
    found = poisson_rates([count for count, _ in rows], [exposure for _, exposure in rows], 100)
    alone = [poisson_rate(count, exposure, 100) for count, exposure in rows]
    assert found.value.tolist() == [rate.value for rate in alone]
    assert found.low.tolist() == [rate.low for rate in alone]
    assert found.high.tolist() == [rate.high for rate in alone]
