"""Trends in words, each with its test and its range."""

from __future__ import annotations

from collections.abc import Sequence
from zoneinfo import ZoneInfo

import pytest

from analytics.core.stretches import NS_PER_DAY
from bondtrail.results import WorkWindow
from dashboard.wear_words import resistance_words, trips_words
from tests.analytics.core.events import event_trend
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
    first, law, other, chance = trips_words(event_trend([5.0, 7.0, 8.0, 8.5, 9.0, 9.5, 9.9], 10.0))
    assert first.startswith("7 trips: getting worse (Laplace test, U = +")
    assert law.startswith("Power law: beta ")
    assert "(95 % " in law
    assert "MIL-HDBK-189" in other
    assert "one in 20 shows a trend by chance" in chance
    assert "twice as often" in chance


def said(ohms: Sequence[float], limit_ohm: float = 10.0, now_days: float = 41) -> list[str]:
    return list(resistance_words(told(ohms, limit_ohm), UTC, round(now_days * NS_PER_DAY)))


@pytest.mark.parametrize(
    ("ohms", "expected"),
    [
        pytest.param(
            [2.0] * 5,
            [
                "5 hookups from 1970-01-01 to 1970-01-05, level 2 ohm: too few hookups to tell"
                " (5 of at least 20)."
            ],
            id="few",
        ),
        pytest.param(
            [2.0 + 0.01 * (n % 3) for n in range(30)] + [5.0 + 0.01 * (n % 3) for n in range(10)],
            [
                "40 hookups from 1970-01-01 to 1970-02-09, level 5.01 ohm: a step and no drift:"
                " from 2.01 ohm to 5.01 ohm on 1970-01-31.",
                "10 hookups from 1970-01-31 to 1970-02-09, level 5.01 ohm: too few hookups to tell"
                " (10 of at least 20).",
            ],
            id="step",
        ),
        pytest.param(
            [5.0 - 0.05 * n for n in range(40)],
            [
                "40 hookups from 1970-01-01 to 1970-02-09, level 4.03 ohm: falling by 0.05 ohm a"
                " day (Mann-Kendall test, p < 0.001)."
            ],
            id="falling",
        ),
    ],
)
def test_resistance_in_words(ohms: Sequence[float], expected: list[str]) -> None:
    assert said(ohms) == expected


RISING = [2.0 + 0.1 * n for n in range(40)]
"""By 0.1 ohm a day from 2 ohm on 1 January: 8 ohm 60 days later."""


@pytest.mark.parametrize(
    ("limit_ohm", "now_days", "expected"),
    [
        pytest.param(8.0, 41, "; reaches the limit of 8 ohm about 1970-03-02 (95 %", id="in-sight"),
        pytest.param(8.0, 70, "; by the line the limit of 8 ohm was reached about", id="past"),
        pytest.param(5.0, 41, "; has reached the limit of 5 ohm.", id="already"),
        pytest.param(1e6, 41, "; the limit of 1 Mohm is not in sight.", id="far-away"),
    ],
)
def test_a_drift_says_where_it_leads(limit_ohm: float, now_days: float, expected: str) -> None:
    drift, chance = said(RISING, limit_ohm, now_days)
    assert "rising by 0.1 ohm a day (Mann-Kendall test" in drift
    assert expected in drift
    assert "one in 100 shows a drift by chance" in chance
    assert "not what a clamp will do" in chance


def test_a_drift_that_is_over_leads_nowhere() -> None:
    work = [WorkWindow("s", 40 * NS_PER_DAY - 2, 40 * NS_PER_DAY - 1, "clamp replaced")]
    before, after, _ = resistance_words(
        told([*RISING, *[2.0] * 10], 8.0, work=work), UTC, 60 * NS_PER_DAY
    )
    assert "rising by 0.1 ohm a day" in before
    assert "limit" not in before
    assert "too few" in after
