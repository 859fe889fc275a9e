"""Alarm-system figures in words."""

from __future__ import annotations

import pytest

from analytics.core import alarm_wording as wording
from analytics.core.alarm_figures import alarm_figures
from analytics.core.alarm_levels import LEVELS, kpi
from bondtrail.results import Alarm, AlarmKind
from bondtrail.site import AlarmRules
from tests.analytics.core.test_alarm_floods import MIN, TWO_HOURS

BY_NAME = {level.name: level for level in LEVELS}
STREAM = alarm_figures(
    [
        Alarm("rail-1", AlarmKind.BYPASS_ON, round(minute * MIN), round((minute + 0.05) * MIN))
        for minute in TWO_HOURS
    ],
    0,
    120 * MIN,
    AlarmRules(),
)


def test_every_figure_has_a_name() -> None:
    assert list(wording.LABELS) == [level.name for level in LEVELS]


@pytest.mark.parametrize(
    ("share", "text"),
    [
        pytest.param(0, "0 %", id="none"),
        pytest.param(0.0001, "<0.1 %", id="hardly-any-is-not-none"),
        pytest.param(1 / 12, "8.3 %", id="one-decimal"),
        pytest.param(0.9999, ">99.9 %", id="nearly-all-is-not-all"),
        pytest.param(1, "100 %", id="all"),
    ],
)
def test_percent(share: float, text: str) -> None:
    assert wording.percent(share) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        pytest.param(0, "0", id="none"),
        pytest.param(0.00312, "0.0031", id="small"),
        pytest.param(25 / 12, "2.08", id="three-digits"),
        pytest.param(12.0, "12", id="whole"),
        pytest.param(1234.5, "1,234", id="large"),
    ],
)
def test_number(value: float, text: str) -> None:
    assert wording.number(value) == text


@pytest.mark.parametrize(
    ("name", "acceptable", "manageable"),
    [
        pytest.param("average_per_hour", "up to 6", "up to 12", id="two-levels"),
        pytest.param("hours_over_30", "below 1 %", "-", id="a-share"),
        pytest.param("top_ten_share", "below 1 %", "up to 5 %", id="a-share-with-two"),
        pytest.param("fleeting", "0", "-", id="none-at-all"),
        pytest.param("stale", "below 5", "-", id="below"),
        pytest.param("standing", "-", "-", id="not-verified"),
    ],
)
def test_levels(name: str, acceptable: str, manageable: str) -> None:
    level = BY_NAME[name]
    assert wording.acceptable_text(level) == acceptable
    assert wording.manageable_text(level) == manageable


@pytest.mark.parametrize(
    ("name", "value", "beside"),
    [
        pytest.param("average_per_day", "300", "25 in 2 h", id="per-day"),
        pytest.param("average_per_10_min", "2.08", "", id="per-10-min"),
        pytest.param("peak_per_10_min", "12", "minute 20", id="peak"),
        pytest.param("hours_over_30", "0 %", "0 of 2", id="hours"),
        pytest.param("periods_over_10", "8.3 %", "1 of 12", id="tens"),
        pytest.param("time_in_flood", "16.7 %", "1 flood", id="flood"),
        pytest.param("top_ten_share", "100 %", "of 1 different", id="top-ten"),
        pytest.param("chattering", "1", "1 episode", id="chattering"),
        pytest.param("fleeting", "1", "25 times", id="fleeting"),
        pytest.param("stale", "0", "0 in all", id="stale"),
        pytest.param("standing", "0.01", "0 at the end", id="standing"),
    ],
)
def test_the_worked_stream_in_words(name: str, value: str, beside: str) -> None:
    assert wording.value_text(kpi(name, STREAM)) == value
    assert wording.detail(name, STREAM, lambda at: f"minute {at // MIN}") == beside


def test_what_is_not_there_is_a_dash() -> None:
    empty = alarm_figures([], 0, MIN, AlarmRules())
    assert wording.value_text(kpi("top_ten_share", empty)) == "-"
    assert wording.detail("peak_per_10_min", empty, str) == ""


@pytest.mark.parametrize(
    ("rules", "said"),
    [
        pytest.param({}, "from above 10 alarms in 10 minutes to fewer than 5", id="default"),
        pytest.param({}, "over fixed 10-minute periods from the start", id="fixed"),
        pytest.param({"flood_begins": "10_or_more"}, "from 10 alarms or more in 10", id="ten"),
        pytest.param({"flood_windows": "sliding"}, "the last 10 minutes at any", id="sliding"),
        pytest.param({"flood_ends_below": 3}, "to fewer than 3", id="ends"),
        pytest.param({"flood_ends_below": 3}, "(5 is common practice)", id="practice"),
        pytest.param({"chattering_count": 4}, "Chattering: 4 or more of one alarm", id="count"),
        pytest.param({"chattering_s": 90.0}, "within 90 s", id="chattering"),
        pytest.param({"fleeting_s": 2.5}, "Fleeting: cleared within 2.5 s", id="fleeting"),
        pytest.param({"stale_h": 8.0}, "Stale: active for longer than 8 h", id="stale"),
    ],
)
def test_the_settings_are_named(rules: dict[str, object], said: str) -> None:
    assert said in " ".join(wording.rules_told(AlarmRules.model_validate(rules)))


@pytest.mark.parametrize(
    ("hours", "said"),
    [
        pytest.param(2, "this period has 2 h.", id="hours"),
        pytest.param(29 * 24, "this period has 29 days.", id="days"),
    ],
)
def test_a_short_period_is_told(hours: int, said: str) -> None:
    figures = alarm_figures([], 0, hours * 60 * MIN, AlarmRules())
    note = wording.short_note(figures)
    assert note is not None
    assert said in note
    assert "By common practice" in note
    assert "at least 30 days" in note


def test_what_is_not_known_is_told() -> None:
    assert "known for 97.5 % of the time on record" in wording.coverage_note(0.975)
    assert "no record" in wording.coverage_note(None)


def test_nothing_is_said_of_a_period_long_enough() -> None:
    assert wording.short_note(alarm_figures([], 0, 30 * 24 * 60 * MIN, AlarmRules())) is None
