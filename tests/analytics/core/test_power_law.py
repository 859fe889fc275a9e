"""The power-law process against published fits and intervals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.core.histories import History, history
from analytics.core.power_law import PowerLaw, crow_factors, fit_power_law, handbook_factors
from tests.analytics.core.published import (
    CROW_THREE,
    CROW_THREE_END,
    GROWTH_22,
    HANDBOOK_27,
    HANDBOOK_27_END,
    NIST_TEN,
    NIST_TEN_END,
)


def fitted(*histories: History, confidence: float = 0.95) -> PowerLaw:
    fit = fit_power_law(histories, confidence)
    assert fit is not None
    return fit


def test_modified_estimate_matches_the_nist_handbook() -> None:
    # NIST/SEMATECH e-Handbook 8.4.5.2 prints 1 - beta, the scale, the MTBF and its 80 % interval.
    modified = fitted(history(NIST_TEN, NIST_TEN_END), confidence=0.8).modified
    assert modified is not None
    assert 1 - modified.beta == pytest.approx(0.516494, abs=5e-7)
    assert modified.scale == pytest.approx(0.2913003, abs=5e-8)
    assert modified.mtbf == pytest.approx(310.234, abs=5e-4)
    assert modified.mtbf_low == pytest.approx(157.7138, abs=5e-5)
    assert modified.mtbf_high == pytest.approx(548.5566, abs=5e-5)


def test_likelihood_estimate_of_the_same_data_is_the_plain_one() -> None:
    # 10 / sum ln(1500 / t), worked out by hand from the data of NIST 8.4.5.2.
    assert fitted(history(NIST_TEN, NIST_TEN_END)).likelihood.beta == pytest.approx(0.5372288660)


def test_fit_matches_the_military_handbook() -> None:
    # MIL-HDBK-189 (1981), appendix C: the handbook rounds, its data give these figures.
    fit = fitted(history(HANDBOOK_27, HANDBOOK_27_END), confidence=0.9)
    assert fit.likelihood.beta == pytest.approx(0.7163393, abs=5e-8)
    assert fit.likelihood.scale == pytest.approx(0.4538419, abs=5e-8)
    assert fit.likelihood.intensity == pytest.approx(0.06447053, abs=5e-9)
    assert fit.likelihood.mtbf == pytest.approx(15.51096, abs=5e-6)
    assert fit.modified is not None
    assert fit.modified.beta == pytest.approx(0.6898082, abs=5e-8)
    assert fit.cramer_von_mises == pytest.approx(0.0910611, abs=5e-8)
    # Its interval at 90 %: the coefficients below times the MTBF.
    assert fit.likelihood.mtbf_low == pytest.approx(0.6361467 * 15.51096, rel=1e-6)
    assert fit.likelihood.mtbf_high == pytest.approx(1.6817864 * 15.51096, rel=1e-6)


def test_systems_of_equal_length_match_crow() -> None:
    # L. H. Crow (1974) prints 0.6153 and 0.4605, from memory.
    fit = fitted(*(history(times, CROW_THREE_END) for times in CROW_THREE))
    assert fit.likelihood.beta == pytest.approx(0.6153363, abs=5e-8)
    assert fit.likelihood.scale == pytest.approx(0.4605471, abs=5e-8)


def test_a_watch_that_ends_with_an_event() -> None:
    # The package reliability 0.9.0 and a fit by hand agree on beta, scale and MTBF; the unbiased
    # beta is (n - 2) / sum ln(T / t).
    fit = fitted(history(GROWTH_22, 620, ends_with_event=True))
    assert fit.likelihood.beta == pytest.approx(0.6142104, abs=5e-8)
    assert fit.likelihood.scale == pytest.approx(0.4239422, abs=5e-8)
    assert fit.likelihood.mtbf == pytest.approx(45.8830, abs=5e-5)
    assert fit.modified is not None
    assert fit.modified.beta == pytest.approx(0.5583731, abs=5e-8)
    assert (fit.likelihood.mtbf_low, fit.likelihood.mtbf_high) == (None, None)


@pytest.mark.parametrize(
    ("events", "confidence", "low", "high", "tolerance"),
    [
        # Coefficients of Crow's interval as MIL-HDBK-189 (1981) tables them, to four figures, and
        # as worked examples give them for n = 27.
        pytest.param(23, 0.8, 0.6762, 1.5744, 5e-5, id="23-at-80"),
        pytest.param(27, 0.9, 0.6361467, 1.6817864, 5e-8, id="27-at-90"),
    ],
)
def test_crow_factors_match_published(
    events: int, confidence: float, low: float, high: float, tolerance: float
) -> None:
    assert crow_factors(events, confidence) == (
        pytest.approx(low, abs=tolerance),
        pytest.approx(high, abs=tolerance),
    )


@pytest.mark.parametrize("confidence", [0.5, 0.95])
def test_both_intervals_agree_for_very_many_events(confidence: float) -> None:
    assert handbook_factors(4000, confidence) == pytest.approx(
        crow_factors(4000, confidence), rel=2e-3
    )


def test_the_handbook_has_no_upper_end_for_very_few_events() -> None:
    low, high = handbook_factors(2, 0.99)
    assert 0 < low < 1
    assert high is None


def test_the_interval_of_beta_covers_as_often_as_it_says() -> None:
    # 90 % of 400 histories simulated from a known process: 360, give or take 3 x 6.
    rng = np.random.default_rng(20260301)
    held = 0
    for _ in range(400):
        times = rng.uniform(size=max(2, rng.poisson(12))) ** (1 / 1.7)
        fit = fitted(history(times.tolist(), 1.0), confidence=0.9)
        held += fit.beta_low <= 1.7 <= fit.beta_high
    assert abs(held - 360) <= 18


@pytest.mark.parametrize(
    "histories",
    [
        pytest.param([], id="no-system"),
        pytest.param([history([], 10)], id="no-event"),
        pytest.param([history([4], 10)], id="one-event"),
        pytest.param([history([10, 10], 10)], id="all-at-the-end"),
    ],
)
def test_too_little_has_no_fit(histories: list[History]) -> None:
    assert fit_power_law(histories) is None


def test_ends_that_differ_have_an_estimate_but_no_interval_of_the_mtbf() -> None:
    fit = fitted(history([1, 4, 9], 10), history([2, 3], 5))
    assert fit.likelihood.mtbf_low is None
    assert fit.beta_low < fit.likelihood.beta < fit.beta_high
    # What was expected of the two by their ends is what came.
    beta, scale = fit.likelihood.beta, fit.likelihood.scale
    assert scale * (10**beta + 5**beta) == pytest.approx(5)


@settings(max_examples=50, deadline=None)
@given(
    times=st.lists(st.floats(0.001, 1.0), min_size=3, max_size=40),
    factor=st.floats(1e-3, 1e9),
)
def test_the_unit_of_time_does_not_matter(times: list[float], factor: float) -> None:
    fit = fitted(history(times, 1.001))
    scaled = fitted(history([time * factor for time in times], 1.001 * factor))
    assert scaled.likelihood.beta == pytest.approx(fit.likelihood.beta, rel=1e-6)
    assert scaled.likelihood.mtbf == pytest.approx(fit.likelihood.mtbf * factor, rel=1e-6)
    assert scaled.beta_high == pytest.approx(fit.beta_high, rel=1e-6)
