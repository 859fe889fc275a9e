"""Trends in words, each with its test and its range."""

from __future__ import annotations

from collections.abc import Sequence
from zoneinfo import ZoneInfo

import pytest

from analytics.core.trends import event_trend
from dashboard.wear_words import resistance_words, trips_words
from tests.dashboard.figures.test_wear import told

UTC = ZoneInfo("UTC")


@pytest.mark.parametrize(
    ("days", "expected"),
    [
        pytest.param([], ["0 trips: too few to tell (0 of at least 5)."], id="none"),
        pytest.param([4.0], ["1 trip: too few to tell (1 of at least 5)."], id="few"),
    ],
)
def test_few_trips_say_nothing(days: list[float], expected: list[str]) -> None:
    assert list(trips_words(event_trend(days, 10.0))) == expected


def test_trips_that_come_faster_name_the_test_and_the_power_law() -> None:
    first, law, other = trips_words(event_trend([5.0, 7.0, 8.0, 8.5, 9.0, 9.5, 9.9], 10.0))
    assert first.startswith("7 trips: getting worse (Laplace test, U = +")
    assert law.startswith("Power law: beta ")
    assert "(95 % " in law
    assert "MIL-HDBK-189" in other


@pytest.mark.parametrize(
    ("ohms", "expected"),
    [
        pytest.param(
            [2.0] * 5,
            ["5 hookups from 1970-01-01 to 1970-01-05: too few to tell a trend, which takes 20. "
             "Median 2 ohm."],
            id="few",
        ),
        pytest.param(
            [2.0 + 0.01 * (n % 3) for n in range(30)] + [5.0 + 0.01 * (n % 3) for n in range(10)],
            ["40 hookups from 1970-01-01 to 1970-02-09: a step, not a drift. On 1970-01-31 it "
             "went from 2.01 ohm to 5.01 ohm (Pettitt's test, p < 0.001).",
             "10 hookups from 1970-01-31 to 1970-02-09: too few to tell a trend, which takes 20. "
             "Median 5.01 ohm."],
            id="step",
        ),
        pytest.param(
            [5.0 - 0.05 * n for n in range(40)],
            ["40 hookups from 1970-01-01 to 1970-02-09: not rising. Median 4.03 ohm."],
            id="falling",
        ),
    ],
)  # fmt: skip
def test_resistance_in_words(ohms: Sequence[float], expected: list[str]) -> None:
    assert list(resistance_words(told(ohms), UTC)) == expected


def test_a_steady_resistance_has_no_sign_of_a_rise() -> None:
    (said,) = resistance_words(told([2.0, 2.2, 2.1] * 10), UTC)
    assert "no sign of a rise (Mann-Kendall test, p = " in said


@pytest.mark.parametrize(
    ("limit_ohm", "expected"),
    [
        pytest.param(8.0, "it reaches the limit of 8 ohm on about 1970-03-02 (", id="in-sight"),
        pytest.param(5.0, "It has reached the limit of 5 ohm already.", id="already"),
        pytest.param(1e6, "the limit of 1 Mohm is not in sight.", id="far-away"),
    ],
)
def test_a_drift_says_where_it_leads(limit_ohm: float, expected: str) -> None:
    """By 0.1 ohm a day from 2 ohm on 1 January: 8 ohm 60 days later."""
    rising = [2.0 + 0.1 * n for n in range(40)]
    drift, ahead = resistance_words(told(rising, limit_ohm), UTC)
    assert "rising by 0.1 ohm a day" in drift
    assert "Theil-Sen slope" in drift
    assert expected in ahead
