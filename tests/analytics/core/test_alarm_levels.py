"""Published levels of alarm systems, and how figures compare with them."""

from __future__ import annotations

import pytest

from analytics.core.alarm_figures import alarm_figures
from analytics.core.alarm_levels import (
    LEVELS,
    VALUES,
    Judgement,
    Level,
    Unit,
    is_short,
    judged,
    kpi,
    kpis,
)
from bondtrail.results import Alarm, AlarmKind
from bondtrail.site import AlarmRules
from tests.analytics.core.test_alarm_floods import MIN, TWO_HOURS

HOUR = 60 * MIN
BY_NAME = {level.name: level for level in LEVELS}


@pytest.mark.parametrize(
    ("name", "acceptable", "manageable", "source"),
    [
        # IEC 62682:2014, table of KPI: very likely acceptable, maximum manageable.
        pytest.param("average_per_day", 144, 288, "IEC 62682:2014", id="per-day"),
        # IEC 62682 and ISA-18.2-2016, table of KPI.
        pytest.param("average_per_hour", 6, 12, "IEC 62682, ISA-18.2-2016", id="per-hour"),
        pytest.param("average_per_10_min", 1, 2, "IEC 62682, ISA-18.2-2016", id="per-10-min"),
        pytest.param("peak_per_10_min", 10, None, "IEC 62682, ISA-18.2-2016", id="peak"),
        pytest.param("hours_over_30", 0.01, None, "IEC 62682, ISA-18.2-2016", id="hours"),
        pytest.param("periods_over_10", 0.01, None, "IEC 62682, ISA-18.2-2016", id="tens"),
        pytest.param("time_in_flood", 0.01, None, "IEC 62682, ISA-18.2-2016", id="flood"),
        pytest.param("top_ten_share", 0.01, 0.05, "IEC 62682, ISA-18.2-2016", id="top-ten"),
        pytest.param("chattering", 0, None, "IEC 62682, ISA-18.2-2016", id="chattering"),
        pytest.param("fleeting", 0, None, "IEC 62682, ISA-18.2-2016", id="fleeting"),
        pytest.param("stale", 5, None, "IEC 62682, ISA-18.2-2016", id="stale"),
        # From memory: EEMUA 191, fewer than 10 standing.
        pytest.param("standing", 10, None, "EEMUA 191, from memory: not verified", id="standing"),
    ],
)
def test_the_published_levels(
    name: str, acceptable: float, manageable: float | None, source: str
) -> None:
    level = BY_NAME[name]
    assert (level.acceptable, level.manageable, level.source) == (acceptable, manageable, source)


@pytest.mark.parametrize(
    ("value", "manageable", "below", "expected"),
    [
        pytest.param(None, 12, False, None, id="nothing-to-judge"),
        pytest.param(0, 12, False, Judgement.ACCEPTABLE, id="none"),
        pytest.param(6, 12, False, Judgement.ACCEPTABLE, id="at-the-acceptable-level"),
        pytest.param(6, None, True, Judgement.OVER, id="must-be-below-it"),
        pytest.param(5.999, None, True, Judgement.ACCEPTABLE, id="just-below-it"),
        pytest.param(6.001, 12, False, Judgement.MANAGEABLE, id="above-acceptable"),
        pytest.param(6, 12, True, Judgement.MANAGEABLE, id="not-below-but-manageable"),
        pytest.param(12, 12, False, Judgement.MANAGEABLE, id="at-the-manageable-level"),
        pytest.param(12.001, 12, False, Judgement.OVER, id="above-it"),
        pytest.param(6.001, None, False, Judgement.OVER, id="only-one-level"),
    ],
)
def test_the_judgement(
    value: float | None, manageable: float | None, below: bool, expected: Judgement | None
) -> None:
    level = Level("any", Unit.NUMBER, 6, manageable, below, "our own")
    assert judged(value, level) == expected


def test_every_figure_has_a_level_and_a_value() -> None:
    assert list(VALUES) == [level.name for level in LEVELS]


def test_the_worked_stream_against_the_levels() -> None:
    alarms = [
        Alarm("rail-1", AlarmKind.BYPASS_ON, round(minute * MIN), round((minute + 0.5) * MIN))
        for minute in TWO_HOURS
    ]
    found = kpis(alarm_figures(alarms, 0, 2 * HOUR, AlarmRules()))
    assert {kpi.level.name: (kpi.value, kpi.judgement) for kpi in found} == {
        "average_per_day": (pytest.approx(300), "over"),
        "average_per_hour": (12.5, "over"),
        "average_per_10_min": (pytest.approx(25 / 12), "over"),
        "peak_per_10_min": (12, "over"),
        "hours_over_30": (0.0, "within acceptable"),
        "periods_over_10": (pytest.approx(1 / 12), "over"),
        "time_in_flood": (pytest.approx(1 / 6), "over"),
        "top_ten_share": (1.0, None),
        "chattering": (1, "over"),
        "fleeting": (0, "within acceptable"),
        "stale": (0, "within acceptable"),
        "standing": (pytest.approx(25 * 0.5 / 120), None),
    }
    assert {kpi.level.name: kpi.not_judged for kpi in found if kpi.not_judged} == {
        "top_ten_share": "ten or fewer different alarms",
        "standing": "the level is not verified",
    }


@pytest.mark.parametrize(
    ("different", "judgement", "why_not"),
    [
        pytest.param(10, None, "ten or fewer different alarms", id="ten"),
        pytest.param(11, None, "20 or fewer different alarms", id="more-than-ten"),
        pytest.param(20, None, "20 or fewer different alarms", id="twenty"),
        pytest.param(21, "over", "", id="more-than-twenty"),
    ],
)
def test_a_top_ten_of_few_is_not_judged(
    different: int, judgement: str | None, why_not: str
) -> None:
    alarms = [
        Alarm(f"rail-{n}", AlarmKind.BYPASS_ON, n * MIN, n * MIN + 1) for n in range(different)
    ]
    found = kpi("top_ten_share", alarm_figures(alarms, 0, HOUR, AlarmRules()))
    assert found.value == pytest.approx(10 / different)
    assert (found.judgement, found.not_judged) == (judgement, why_not)


def test_without_alarms_nothing_is_said_of_a_top_ten() -> None:
    found = {kpi.level.name: kpi for kpi in kpis(alarm_figures([], 0, HOUR, AlarmRules()))}
    assert (found["top_ten_share"].value, found["top_ten_share"].judgement) == (None, None)
    assert found["average_per_hour"].judgement == "within acceptable"


@pytest.mark.parametrize(
    ("end", "expected"),
    [
        pytest.param(30 * 24 * HOUR - 1, True, id="just-short"),
        pytest.param(30 * 24 * HOUR, False, id="thirty-days"),
    ],
)
def test_a_period_shorter_than_thirty_days_is_short(end: int, expected: bool) -> None:
    assert is_short(alarm_figures([], 0, end, AlarmRules())) is expected
