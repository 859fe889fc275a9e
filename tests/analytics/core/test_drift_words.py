"""Drift in words."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from analytics.core.drift import Change, Line, ResistanceTrend, Shape
from analytics.core.drift_words import trend_words
from analytics.core.mann_kendall import MannKendall
from analytics.core.stretches import NS_PER_DAY

RISES = MannKendall(900, 1e4, 9.0, 1e-9)
FALLS = MannKendall(-900, 1e4, -9.0, 1e-9)
LEVEL = MannKendall(12, 1e4, 0.11, 0.9124)
LAST = 90 * NS_PER_DAY
"""1970-04-01."""

DRIFT = ResistanceTrend(
    kind=Shape.DRIFT,
    start=0,
    last=LAST,
    end=LAST + 10**12,
    hookups=60,
    level_ohm=6.0,
    test=RISES,
    line=Line(slope=0.1, low=0.08, high=0.125, middle_days=-10.0, middle_ohm=5.0),
    change=Change(45 * NS_PER_DAY, 1e-5, 3.0, 5.0),
)


@pytest.mark.parametrize(
    ("trend", "limit_ohm", "words"),
    [
        pytest.param(
            # 5 ohm ten days before the last hookup, so 10 ohm 40 days after it; 30 and 52.5 along
            # the ends of the slope.
            DRIFT,
            10.0,
            "rising by 0.1 ohm a day (Mann-Kendall test, p < 0.001);"
            " reaches the limit of 10 ohm about 1970-05-11"
            " (95 % of the slope alone: 1970-05-01 to 1970-05-23)",
            id="drift",
        ),
        pytest.param(
            replace(DRIFT, line=Line(0.1, 0.0, 0.125, -10.0, 5.0)),
            10.0,
            "rising by 0.1 ohm a day (Mann-Kendall test, p < 0.001);"
            " reaches the limit of 10 ohm about 1970-05-11"
            " (95 % of the slope alone: 1970-05-01 at the earliest)",
            id="it-may-last",
        ),
        pytest.param(
            replace(DRIFT, line=Line(0.001, 0.0, 0.125, -10.0, 5.0)),
            10.0,
            "rising by 0.001 ohm a day (Mann-Kendall test, p < 0.001);"
            " reaches the limit of 10 ohm on 1970-05-01 at the earliest"
            " (95 % of the slope alone)",
            id="most-likely-far-off",
        ),
        pytest.param(
            replace(DRIFT, line=Line(0.001, 0.0, 0.0011, -10.0, 5.0)),
            10.0,
            "rising by 0.001 ohm a day (Mann-Kendall test, p < 0.001);"
            " the limit of 10 ohm is not in sight",
            id="far-off",
        ),
        pytest.param(
            DRIFT,
            5.5,
            "rising by 0.1 ohm a day (Mann-Kendall test, p < 0.001);"
            " has reached the limit of 5.5 ohm",
            id="reached",
        ),
        pytest.param(
            replace(DRIFT, kind=Shape.STEP),
            10.0,
            "a step and no drift: from 3 ohm to 5 ohm on 1970-02-15",
            id="step",
        ),
        pytest.param(
            replace(DRIFT, kind=Shape.NONE, test=LEVEL),
            10.0,
            "no sign of a drift (Mann-Kendall test, p = 0.912)",
            id="level",
        ),
        pytest.param(
            replace(DRIFT, kind=Shape.NONE, test=FALLS, line=Line(-2000.0, -3e3, -1e3, -10, 5e4)),
            10.0,
            "falling by 2 kohm a day (Mann-Kendall test, p < 0.001)",
            id="falling",
        ),
        pytest.param(
            replace(DRIFT, kind=Shape.NONE, line=None),
            10.0,
            "no drift to tell: all hookups began at one moment",
            id="all-at-once",
        ),
        pytest.param(
            replace(DRIFT, kind=Shape.NONE, hookups=12, test=None, line=None, change=None),
            10.0,
            "too few hookups to tell (12 of at least 20)",
            id="few",
        ),
    ],
)
def test_trend_words(trend: ResistanceTrend, limit_ohm: float, words: str) -> None:
    assert trend_words(trend, limit_ohm, ZoneInfo("UTC")) == words


def test_days_are_those_of_the_site() -> None:
    step = replace(DRIFT, kind=Shape.STEP)
    assert trend_words(step, 10.0, ZoneInfo("America/Chicago")).endswith("on 1970-02-14")


@pytest.mark.parametrize(
    ("now_days", "words"),
    [
        pytest.param(129, "reaches the limit of 10 ohm about 1970-05-11 (", id="to-come"),
        pytest.param(130, "by the line the limit of 10 ohm was reached about", id="on-the-moment"),
        pytest.param(400, "by the line the limit of 10 ohm was reached about", id="long-past"),
    ],
)
def test_a_day_that_is_past_is_no_forecast(now_days: int, words: str) -> None:
    """10 ohm 40 days after the last hookup, on day 130."""
    told = trend_words(DRIFT, 10.0, ZoneInfo("UTC"), now_days * NS_PER_DAY)
    assert told.startswith(f"rising by 0.1 ohm a day (Mann-Kendall test, p < 0.001); {words}")
    assert told.endswith("(95 % of the slope alone: 1970-05-01 to 1970-05-23)")


def test_a_stretch_that_is_over_leads_nowhere() -> None:
    told = trend_words(DRIFT, None, ZoneInfo("UTC"))
    assert told == "rising by 0.1 ohm a day (Mann-Kendall test, p < 0.001)"
