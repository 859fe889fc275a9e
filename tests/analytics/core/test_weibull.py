"""The Weibull fit with lives that are not over, against published values and libraries."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.core.weibull import Weibull, fit_weibull
from tests.analytics.core.published import NIST_LIVES, NIST_LIVES_END


def fitted(ages: list[float], failed: list[bool], confidence: float = 0.95) -> Weibull:
    fit = fit_weibull(np.array(ages, float), np.array(failed), confidence)
    assert fit is not None
    return fit


def nist(confidence: float = 0.95) -> Weibull:
    return fitted([*NIST_LIVES, *[NIST_LIVES_END] * 10], [True] * 10 + [False] * 10, confidence)


def test_fit_matches_libraries_on_the_nist_lives() -> None:
    # NIST/SEMATECH e-Handbook 8.4.1 data. The packages lifelines 0.30 and scipy 1.17 and a root
    # found by hand agree on these; the standard errors are those of lifelines.
    fit = nist()
    assert fit.shape.value == pytest.approx(1.720797, abs=5e-7)
    assert fit.scale == pytest.approx(606.5276, abs=5e-5)
    assert fit.log_likelihood == pytest.approx(-75.134618, abs=5e-7)
    errors = np.sqrt(np.diag(fit.log_covariance)) * (fit.scale, fit.shape.value)
    assert errors == pytest.approx((124.910637, 0.502151), rel=1e-5)


def test_fit_agrees_with_scipy() -> None:
    rng = np.random.default_rng(3)
    ages = stats.weibull_min.rvs(0.8, scale=90, size=60, random_state=rng)
    ends = rng.uniform(20, 200, size=60)
    failed = ages < ends
    known = np.minimum(ages, ends)
    fit = fit_weibull(known, failed)
    assert fit is not None
    data = stats.CensoredData(uncensored=known[failed], right=known[~failed])
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    assert fit.shape.value == pytest.approx(shape, rel=1e-4)
    assert fit.scale == pytest.approx(scale, rel=1e-4)


def test_ages_by_share_lie_on_the_distribution() -> None:
    fit = nist()
    law = stats.weibull_min(fit.shape.value, scale=fit.scale)
    for share in (0.1, 0.5, 0.9):
        age = fit.age(share)
        assert age.value == pytest.approx(law.ppf(share))
        assert age.low < age.value < age.high
    # At 63.2 % the age is the scale, whose interval needs the variance of its logarithm alone.
    at_scale = fit.age(1 - np.exp(-1))
    assert at_scale.high / at_scale.value == pytest.approx(
        np.exp(1.959964 * np.sqrt(fit.log_covariance[0, 0])), rel=1e-6
    )


def test_the_interval_of_the_shape_is_where_the_marginal_likelihood_is_high() -> None:
    # The marginal likelihood by brute force: the likelihood integrated over the logarithm of the
    # scale, on the NIST lives.
    ages, censored = np.array(NIST_LIVES, float), np.full(10, float(NIST_LIVES_END))
    scales = np.exp(np.linspace(4, 12, 4001))

    def marginal(shape: float) -> float:
        law = stats.weibull_min(shape, scale=scales[:, None])
        logs = law.logpdf(ages).sum(axis=1) + law.logsf(censored).sum(axis=1)
        return float(np.log(np.exp(logs + 80).sum()))

    fit = nist()
    highest = max(marginal(shape) for shape in np.linspace(1.2, 2, 81))
    for end in (fit.shape.low, fit.shape.high):
        assert 2 * (highest - marginal(end)) == pytest.approx(3.841459, abs=2e-3)


def test_a_wider_interval_is_asked_for_by_its_confidence() -> None:
    usual, wide = nist(), nist(0.99)
    assert wide.shape.low < usual.shape.low < usual.shape.high < wide.shape.high
    assert wide.age(0.1).low < usual.age(0.1).low


def test_few_random_lives_are_seldom_called_worn_out() -> None:
    # 600 sets of 5 exponential lives. Nominally 2.5 % have a lower end above 1; up to 6 % here,
    # where the likelihood without its correction has 10 %.
    rng = np.random.default_rng(5)
    above = sum(
        fitted(rng.exponential(size=5).tolist(), [True] * 5).shape.low > 1 for _ in range(600)
    )
    assert 6 <= above <= 36


@pytest.mark.parametrize(
    ("ages", "failed"),
    [
        pytest.param([], [], id="nothing"),
        pytest.param([5.0, 9.0], [False, False], id="none-failed"),
        pytest.param([5.0, 9.0], [True, False], id="one-failed"),
        pytest.param([9.0, 9.0, 4.0], [True, True, False], id="all-at-the-highest-age"),
    ],
)
def test_what_has_no_shape(ages: list[float], failed: list[bool]) -> None:
    assert fit_weibull(np.array(ages, float), np.array(failed, bool)) is None


@pytest.mark.parametrize(
    ("ages", "failed", "wrong"),
    [
        pytest.param([0.0, 1.0], [True, True], "above 0 and finite", id="zero"),
        pytest.param([np.inf, 1.0], [True, True], "above 0 and finite", id="endless"),
        pytest.param([np.nan, 1.0], [True, True], "above 0 and finite", id="not-a-number"),
        pytest.param([1.0, 2.0], [True], "differ in length: 2 and 1", id="lengths"),
    ],
)
def test_wrong_ages_are_refused(ages: list[float], failed: list[bool], wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        fit_weibull(np.array(ages), np.array(failed))


@settings(max_examples=60, deadline=None)
@given(
    ages=st.lists(st.floats(0.01, 100), min_size=3, max_size=30, unique=True),
    factor=st.floats(1e-6, 1e6),
)
def test_the_unit_of_age_does_not_matter(ages: list[float], factor: float) -> None:
    failed = [True] * len(ages)
    fit, scaled = fitted(ages, failed), fitted([age * factor for age in ages], failed)
    assert scaled.shape.value == pytest.approx(fit.shape.value, rel=1e-4)
    assert scaled.shape.low == pytest.approx(fit.shape.low, rel=1e-4)
    assert scaled.scale == pytest.approx(fit.scale * factor, rel=1e-4)
