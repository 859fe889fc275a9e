"""Two shares or two rates beside each other: the figures, and what they say in words."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as some
from statsmodels.stats.rates import test_poisson_2indep as poisson_2indep

from analytics.core.comparison import (
    TwoSided,
    Verdict,
    difference_of_shares,
    ratio_of_rates,
)
from analytics.core.rates import poisson_rate
from analytics.core.shares import wilson

WHOLES = some.integers(1, 500)
COUNTS = some.integers(0, 200)
EXPOSURES = some.floats(0.1, 1e4)


@some.composite
def two_shares(draw: some.DrawFn) -> tuple[int, int, int, int]:
    of1, of2 = draw(WHOLES), draw(WHOLES)
    return draw(some.integers(0, of1)), of1, draw(some.integers(0, of2)), of2


@pytest.mark.parametrize(
    ("shares", "low", "high"),
    [
        # R. G. Newcombe, Interval estimation for the difference between independent proportions,
        # Statistics in Medicine 17 (1998) 873-890, Table II, method 10; from memory, 4 decimals.
        pytest.param((56, 70, 48, 80), 0.0524, 0.3339, id="newcombe-1998-table-ii-a"),
        pytest.param((9, 10, 3, 10), 0.1705, 0.8090, id="newcombe-1998-table-ii-b"),
        pytest.param((6, 7, 2, 7), 0.0582, 0.8062, id="newcombe-1998-table-ii-c"),
        pytest.param((5, 56, 0, 29), -0.0381, 0.1926, id="newcombe-1998-table-ii-d"),
        pytest.param((0, 10, 0, 20), -0.1611, 0.2775, id="newcombe-1998-table-ii-e"),
        pytest.param((0, 10, 0, 10), -0.2775, 0.2775, id="newcombe-1998-table-ii-f"),
        pytest.param((10, 10, 0, 20), 0.6791, 1.0, id="newcombe-1998-table-ii-g"),
        pytest.param((10, 10, 0, 10), 0.6075, 1.0, id="newcombe-1998-table-ii-h"),
    ],
)
def test_difference_matches_published(
    shares: tuple[int, int, int, int], low: float, high: float
) -> None:
    found = difference_of_shares(*shares)
    assert found.low == pytest.approx(low, abs=0.00005)
    assert found.high == pytest.approx(high, abs=0.00005)


def test_a_difference_names_both_shares_and_its_method() -> None:
    found = difference_of_shares(56, 70, 48, 80)
    assert found.value == pytest.approx(0.2)
    assert (found.first, found.second) == (wilson(56, 70), wilson(48, 80))
    assert found.words == "higher (Newcombe's hybrid score interval, 95 %)"


@pytest.mark.parametrize(
    ("shares", "verdict"),
    [
        pytest.param((56, 70, 48, 80), Verdict.HIGHER, id="higher"),
        pytest.param((48, 80, 56, 70), Verdict.LOWER, id="lower"),
        pytest.param((5, 56, 0, 29), Verdict.NO_SIGN, id="too-close-to-tell"),
        pytest.param((1, 1, 0, 1), Verdict.NO_SIGN, id="one-of-one-proves-nothing"),
        pytest.param((0, 0, 5, 10), Verdict.NOTHING, id="first-of-nothing"),
        pytest.param((5, 10, 0, 0), Verdict.NOTHING, id="second-of-nothing"),
    ],
)
def test_what_a_difference_says(shares: tuple[int, int, int, int], verdict: Verdict) -> None:
    found = difference_of_shares(*shares)
    assert found.verdict is verdict
    assert found.words.startswith(verdict)


def test_a_difference_with_nothing_has_no_figure() -> None:
    found = difference_of_shares(5, 10, 0, 0)
    assert (found.value, found.low, found.high) == (None, None, None)
    assert found.words == "nothing to compare"


@given(two_shares())
def test_a_difference_lies_in_its_interval_and_turns_round(
    shares: tuple[int, int, int, int],
) -> None:
    count1, of1, count2, of2 = shares
    found = difference_of_shares(count1, of1, count2, of2)
    other = difference_of_shares(count2, of2, count1, of1)
    assert found.low is not None
    assert found.value is not None
    assert found.high is not None
    assert -1 <= found.low <= found.value <= found.high <= 1
    assert (other.low, other.high) == pytest.approx((-found.high, -found.low), abs=1e-12)


def test_a_share_outside_is_refused() -> None:
    with pytest.raises(ValueError, match="count must lie in"):
        difference_of_shares(5, 4, 1, 2)


def test_ratio_matches_r() -> None:
    # R's poisson.test, as the tests of statsmodels quote it: 11 in 800 against 21 in 3011.
    found = ratio_of_rates(11, 800, 21, 3011)
    assert found.value == pytest.approx(1.971488, abs=1e-6)
    assert (found.low, found.high) == pytest.approx((0.8584264, 4.277266), abs=1e-6)
    assert found.p_value == pytest.approx(0.0796686, abs=1e-7)
    assert (found.first, found.second) == (poisson_rate(11, 800), poisson_rate(21, 3011))


def test_doubling_the_smaller_tail_gives_another_p_value_and_says_so() -> None:
    # scipy: twice the one-sided p of binomtest(11, 32, 800 / 3811).
    found = ratio_of_rates(11, 800, 21, 3011, two_sided=TwoSided.DOUBLED)
    assert found.p_value == pytest.approx(0.1120173, abs=1e-7)
    assert found.words == (
        "no sign of a difference "
        "(exact conditional test, two-sided by doubling the smaller tail, p = 0.112)"
    )


@pytest.mark.parametrize(
    ("rates", "words"),
    [
        pytest.param(
            (11, 800, 21, 3011),
            "no sign of a difference "
            "(exact conditional test, two-sided by minimum likelihood, p = 0.0797)",
            id="no-sign",
        ),
        pytest.param(
            (2, 1000, 20, 1000),
            "lower (exact conditional test, two-sided by minimum likelihood, p < 0.001)",
            id="lower",
        ),
        pytest.param(
            (9, 100, 2, 100),
            "no sign of a difference "
            "(exact conditional test, two-sided by minimum likelihood, p = 0.0654)",
            id="nine-against-two",
        ),
        pytest.param(
            (10, 100, 1, 100),
            "higher (exact conditional test, two-sided by minimum likelihood, p = 0.0117)",
            id="higher",
        ),
        pytest.param((3, 0, 1, 100), "nothing to compare", id="first-over-nothing"),
        pytest.param((3, 100, 0, 0), "nothing to compare", id="second-over-nothing"),
        pytest.param(
            (0, 100, 0, 100),
            "nothing to compare",
            id="no-event-at-all",
        ),
    ],
)
def test_what_a_ratio_says(rates: tuple[int, float, int, float], words: str) -> None:
    # With equal exposures, p is that of so many heads of a fair coin: 2 (1 + 11) / 2^11 = 0.0117
    # and 2 (1 + 11 + 55) / 2^11 = 0.0654.
    assert ratio_of_rates(*rates).words == words


@pytest.mark.parametrize(
    ("rates", "value", "low", "high", "p_value"),
    [
        # None of five on one side of two equal exposures: the far end solves
        # (1 / (1 + ratio)) ** 5 = 0.025, so it is 40 ** 0.2 - 1 = 1.091279; p is 2 / 2 ** 5.
        pytest.param((0, 10, 5, 10), 0.0, 0.0, 1.091279, 0.0625, id="none-before"),
        pytest.param((5, 10, 0, 10), math.inf, 0.916356, math.inf, 0.0625, id="none-after"),
        pytest.param((0, 10, 0, 10), None, 0.0, math.inf, 1.0, id="none-at-all"),
        pytest.param((0, 0, 5, 10), None, None, None, None, id="over-nothing"),
    ],
)
def test_no_events_leave_an_open_end(
    rates: tuple[int, float, int, float],
    value: float | None,
    low: float | None,
    high: float | None,
    p_value: float | None,
) -> None:
    found = ratio_of_rates(*rates)
    assert (found.value, found.low, found.high, found.p_value) == pytest.approx(
        (value, low, high, p_value), abs=1e-6
    )


@pytest.mark.parametrize("two_sided", TwoSided)
@given(rates=some.tuples(COUNTS, EXPOSURES, COUNTS, EXPOSURES))
def test_a_ratio_lies_in_its_interval_and_turns_round(
    two_sided: TwoSided, rates: tuple[int, float, int, float]
) -> None:
    count1, exposure1, count2, exposure2 = rates
    assume(count1 + count2)
    found = ratio_of_rates(count1, exposure1, count2, exposure2, two_sided=two_sided)
    other = ratio_of_rates(count2, exposure2, count1, exposure1, two_sided=two_sided)
    assert found.low is not None
    assert found.value is not None
    assert found.high is not None
    assert found.p_value is not None
    assert other.low is not None
    assert 0 <= found.low <= found.value <= found.high
    assert 0 <= found.p_value <= 1
    assert other.p_value == pytest.approx(found.p_value, rel=1e-6, abs=1e-12)
    assert other.low == pytest.approx(1 / found.high if found.high else math.inf, rel=1e-6)


@settings(max_examples=25)  # statsmodels takes its time
@given(some.tuples(COUNTS, EXPOSURES, COUNTS, EXPOSURES))
def test_the_default_p_value_agrees_with_statsmodels(
    rates: tuple[int, float, int, float],
) -> None:
    assume(rates[0] and rates[2])  # statsmodels divides by either
    expected = poisson_2indep(*rates, method="exact-cond", compare="ratio").pvalue
    assert ratio_of_rates(*rates).p_value == pytest.approx(expected, rel=1e-9)


@given(some.tuples(COUNTS, EXPOSURES, COUNTS, EXPOSURES))
def test_doubling_never_finds_what_the_interval_leaves_open(
    rates: tuple[int, float, int, float],
) -> None:
    # Both leave 2.5 % on either side, so they are one test.
    found = ratio_of_rates(*rates, two_sided=TwoSided.DOUBLED)
    assume(found.value is not None)
    assert found.low is not None
    assert found.high is not None
    holds_one = found.low <= 1 <= found.high
    assert (found.verdict is Verdict.NO_SIGN) == holds_one


@pytest.mark.parametrize("rates", [(-1, 10, 1, 10), (1, 10, 1, -10)])
def test_less_than_nothing_is_refused(rates: tuple[int, float, int, float]) -> None:
    with pytest.raises(ValueError, match="must be 0 or more"):
        ratio_of_rates(*rates)
