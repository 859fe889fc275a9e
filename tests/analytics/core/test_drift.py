"""Resistance that drifts to its limit: what is a drift, what is a step, and when it gets there."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.core.drift import (
    HOOKUPS_MIN,
    SOON_DAYS,
    Forecast,
    ResistanceTrend,
    Shape,
    drift_findings,
    failed_since,
    forecast,
    resistance_trends,
)
from analytics.core.stretches import NS_PER_DAY
from bondtrail.results import Finding, Hookup, Kind, Outcome, Severity, WorkWindow
from bondtrail.samples import ValueArray
from bondtrail.site import Limits
from bondtrail.times import format_time

LIMITS = Limits(limit_ohm=10.0)
Days = Sequence[float]


def hookups(
    ohm: Sequence[float | None] | ValueArray,
    *,
    days: Days | None = None,
    outcome: Outcome = Outcome.VERIFIED,
) -> list[Hookup]:
    """A hookup a day from day 0 on, an hour long, unless other days are given."""
    at = range(len(ohm)) if days is None else days
    return [
        Hookup(
            "spot",
            round(day * NS_PER_DAY),
            round(day * NS_PER_DAY) + NS_PER_DAY // 24,
            outcome,
            2.0,
            None if value is None else float(value),
            None if value is None else float(value),
            None,
        )
        for day, value in zip(at, ohm, strict=True)
    ]


def maintained(*days: tuple[float, float]) -> list[WorkWindow]:
    return [
        WorkWindow("spot", round(a * NS_PER_DAY), round(b * NS_PER_DAY), "work") for a, b in days
    ]


def found(rows: Sequence[Hookup], work: Sequence[WorkWindow] = ()) -> list[Finding]:
    return drift_findings("spot", rows, work, lambda moment: LIMITS)


def kinds(rows: Sequence[Hookup], work: Sequence[WorkWindow] = ()) -> list[tuple[str, int]]:
    return [(trend.kind.value, trend.hookups) for trend in resistance_trends(rows, work)]


def noise(size: int, seed: int = 1, ohm: float = 0.2) -> ValueArray:
    return np.random.default_rng(seed).normal(0, ohm, size)


RISE = 2 + 0.08 * np.arange(60)
"""2 ohm on day 0, 6.72 on day 59: reaches 10 on day 100, 41 days later."""
FLAT = np.full(60, 2.0)
STEP = np.repeat([2.0, 4.0], 30)


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        pytest.param([], 0, id="nothing"),
        pytest.param(hookups(RISE + noise(60)), 1, id="a-straight-rise"),
        pytest.param(hookups(RISE), 1, id="a-rise-without-noise"),
        pytest.param(hookups(RISE[:19]), 0, id="19-hookups"),
        pytest.param(hookups(7 + RISE[:20]), 1, id="20-hookups"),
        pytest.param(hookups(2 + 0.02 * np.arange(60) + noise(60)), 0, id="not-soon"),
        pytest.param(hookups(FLAT + noise(60)), 0, id="level"),
        pytest.param(hookups(FLAT), 0, id="all-alike"),
        pytest.param(hookups(np.round(RISE)), 1, id="read-in-whole-ohms"),
        pytest.param(hookups(RISE[::-1]), 0, id="falling"),
        pytest.param(hookups(STEP + noise(60)), 0, id="a-step"),
        pytest.param(hookups(6 + STEP + noise(60)), 0, id="a-step-close-to-the-limit"),
        pytest.param(hookups(12 + RISE + noise(60)), 1, id="above-the-limit-already"),
        pytest.param(hookups([*FLAT + noise(60), *RISE + noise(60, 2)]), 1, id="level-then-rising"),
        pytest.param(
            hookups(2 + 6 * (np.arange(60) / 59) ** 3 + noise(60)), 1, id="wear-that-speeds-up"
        ),
        pytest.param(hookups(RISE + noise(60), outcome=Outcome.FAILED), 0, id="all-failed"),
        pytest.param(hookups([None] * 60), 0, id="no-resistance"),
        pytest.param(hookups(RISE, days=[3.0] * 60), 0, id="all-at-one-moment"),
        pytest.param(hookups(RISE, days=np.sort(np.arange(60) % 20)), 1, id="three-a-moment"),
    ],
)
def test_findings(rows: list[Hookup], expected: int) -> None:
    assert len(found(rows)) == expected


@pytest.mark.parametrize(
    ("ohm_per_day", "expected"),
    [
        # From 1 ohm on day 0, through 50 days to the last hookup: 10 ohm on day 140 or 141.
        pytest.param(9 / 139.9, 1, id="in-just-under-90-days"),
        pytest.param(9 / 140.1, 0, id="in-just-over-90-days"),
    ],
)
def test_soon_is_90_days_from_the_last_hookup(ohm_per_day: float, expected: int) -> None:
    assert SOON_DAYS == 90
    assert len(found(hookups(1 + ohm_per_day * np.arange(51)))) == expected


def test_the_finding_says_what_is_behind_it() -> None:
    rows = hookups(RISE)
    (finding,) = found(rows)
    assert (finding.kind, finding.severity) == (Kind.RESISTANCE_DRIFT, Severity.MINOR)
    assert (finding.station, finding.transfer) == ("spot", None)
    assert (finding.start, finding.end) == (rows[0].start, rows[-1].end)
    assert finding.limits["limit_ohm"] == 10.0
    assert finding.evidence == {
        "hookups": 60,
        "days": 59.0,
        "p_value": pytest.approx(0.0, abs=1e-20),
        "slope_ohm_per_day": pytest.approx(0.08),
        "slope_low_ohm_per_day": pytest.approx(0.08),
        "slope_high_ohm_per_day": pytest.approx(0.08),
        "level_ohm": pytest.approx(6.72),
        "limit_ohm": 10.0,
        "reaches_limit_in_days": pytest.approx(41.0),
        "reaches_limit_earliest_days": pytest.approx(41.0),
        "reaches_limit_latest_days": pytest.approx(41.0),
        "reaches_limit_on": "1970-04-11T00:00:00.000Z",
        "reaches_limit_earliest_on": "1970-04-11T00:00:00.000Z",
        "reaches_limit_latest_on": "1970-04-11T00:00:00.000Z",
        "failed_since": 0,
        "ended_by_work": False,
        "lower_from": None,
    }
    assert finding.summary == (
        "Bonded resistance rises by 0.08 ohm a day over 60 hookups and stands at 6.72 ohm:"
        " going on so it reaches the limit of 10 ohm about 41 days after the last of them"
        " (95 % of the slope alone: 41 to 41)."
    )


@pytest.mark.parametrize(
    ("outcomes", "failed", "told"),
    [
        pytest.param("", 0, False, id="none-since"),
        pytest.param("f", 1, True, id="one"),
        pytest.param("fff", 3, True, id="several"),
    ],
)
def test_hookups_that_failed_since_are_told(outcomes: str, failed: int, told: bool) -> None:
    """They have no bonded resistance, so the line itself cannot show them."""
    rows = hookups(RISE)
    later = [
        replace(
            row,
            outcome=Outcome.FAILED,
            start=row.start + 90 * NS_PER_DAY,
            end=row.end + 90 * NS_PER_DAY,
        )
        for row in rows[: len(outcomes)]
    ]
    (finding,) = found([*rows, *later])
    assert finding.evidence["failed_since"] == failed
    assert ("Since then" in finding.summary) is told


def test_failed_hookups_before_one_that_was_verified_are_past() -> None:
    rows = hookups(RISE)
    (trend,) = resistance_trends(rows, [])
    failed = replace(rows[0], outcome=Outcome.FAILED, start=rows[-1].start + NS_PER_DAY)
    again = replace(rows[0], start=rows[-1].start + 2 * NS_PER_DAY)
    late = replace(failed, start=rows[-1].start + 3 * NS_PER_DAY)
    assert failed_since([*rows, failed, again, late], trend) == 1


def test_the_evidence_is_plain_json() -> None:
    # 20 noisy hookups: the slow end of the slope may not reach the limit at all.
    rows = hookups(6 + 0.06 * np.arange(20) + noise(20, 3, 0.6))
    (finding,) = found(rows)
    assert json.loads(json.dumps(finding.evidence, allow_nan=False)) == finding.evidence
    assert {type(value) for value in finding.evidence.values()} <= {
        *(bool, int, float, str, type(None))
    }


def test_the_limit_is_the_one_in_force_at_the_last_hookup() -> None:
    rows = hookups(RISE + noise(60))
    asked: list[int] = []

    def limits_at(moment: int) -> Limits:
        asked.append(moment)
        return Limits(limit_ohm=20.0)

    assert drift_findings("spot", rows, [], limits_at) == []
    assert asked == [rows[-1].start]


def test_the_order_of_the_hookups_does_not_matter() -> None:
    rows = hookups(RISE + noise(60))
    assert found(rows[::-1]) == found(rows) != []


def test_failed_hookups_do_not_count() -> None:
    failed = hookups(np.full(59, 4000.0), days=np.arange(59) + 0.5, outcome=Outcome.FAILED)
    rows = hookups(RISE + noise(60))
    assert found([*rows, *failed]) == found(rows) != []


def test_a_few_wild_readings_change_little() -> None:
    plain = RISE + noise(60)
    wild = plain.copy()
    wild[[5, 20, 40]] = 9.9
    (first,), (second,) = found(hookups(plain)), found(hookups(wild))
    days = [item.evidence["reaches_limit_in_days"] for item in (first, second)]
    assert days[1] == pytest.approx(days[0], rel=0.15)


WORK = maintained((59.2, 59.8))


@pytest.mark.parametrize(
    ("ohm", "work", "expected"),
    [
        pytest.param([*RISE, *RISE], WORK, [("drift", 60), ("drift", 60)], id="rise-work-rise"),
        pytest.param([*RISE, *FLAT], WORK, [("drift", 60), ("none", 60)], id="rise-work-level"),
        pytest.param([*FLAT, *RISE], WORK, [("none", 60), ("drift", 60)], id="level-work-rise"),
        pytest.param([*FLAT, *FLAT], WORK, [("none", 120)], id="work-that-changed-nothing"),
        pytest.param([*RISE, *RISE[:9]], WORK, [("drift", 60), ("none", 9)], id="few-since"),
        pytest.param([*RISE, *RISE[:4]], WORK, [("drift", 64)], id="too-few-to-see-it-fell"),
    ],
)
def test_work_begins_a_trend_anew(
    ohm: list[float], work: list[WorkWindow], expected: list[tuple[str, int]]
) -> None:
    assert kinds(hookups(np.array(ohm) + noise(len(ohm))), work) == expected


def test_a_drift_that_work_ended_says_so() -> None:
    (rise,) = found(hookups(RISE))
    assert (rise.evidence["ended_by_work"], rise.evidence["lower_from"]) == (False, None)
    (past,) = found(hookups([*RISE, *FLAT]), WORK)
    assert past.evidence["ended_by_work"] is True
    assert past.evidence["lower_from"] == format_time(60 * NS_PER_DAY)
    assert past.summary.endswith("this is past.")


def test_a_step_is_told_with_its_day_and_levels() -> None:
    step, after = resistance_trends(hookups(STEP + noise(60)), [])
    assert (step.kind, step.hookups) == (Shape.STEP, 60)
    assert step.test is not None
    assert step.test.p_value < 0.001, "a trend, to who looks at nothing else"
    assert step.change is not None
    assert step.change.at == 30 * NS_PER_DAY
    assert step.change.p_value < 0.01
    assert step.change.before_ohm == pytest.approx(2, abs=0.1)
    assert step.change.after_ohm == pytest.approx(4, abs=0.1)
    assert step.level_ohm == step.change.after_ohm
    assert (after.kind, after.start, after.hookups) == (Shape.NONE, 30 * NS_PER_DAY, 30)


def test_a_drift_after_a_step_is_found() -> None:
    rows = hookups([*FLAT + noise(60), *4 + RISE[:40] + noise(40, 2)])
    step, after = resistance_trends(rows, [])
    assert (step.kind, after.kind) == (Shape.STEP, Shape.DRIFT)
    (finding,) = found(rows)
    assert finding.start == after.start


def test_a_drift_counts_from_where_it_began() -> None:
    # 300 level hookups and 60 that rise: over all of them the line would be far too low.
    rows = hookups([*2 + noise(300), *RISE + noise(60, 2)])
    level, drift = resistance_trends(rows, [])
    assert (level.kind, drift.kind) == (Shape.NONE, Shape.DRIFT)
    assert level.hookups + drift.hookups == 360
    assert abs(level.hookups - 300) <= 18, "a twentieth of all"
    days = forecast(drift, 10.0).days
    assert days == pytest.approx(41, abs=8)


def test_fewer_than_20_hookups_have_no_figures() -> None:
    (trend,) = resistance_trends(hookups(RISE[: HOOKUPS_MIN - 1]), [])
    assert trend == ResistanceTrend(
        kind=Shape.NONE,
        start=0,
        last=18 * NS_PER_DAY,
        end=18 * NS_PER_DAY + NS_PER_DAY // 24,
        hookups=19,
        level_ohm=pytest.approx(2 + 0.08 * 9),
    )


def test_every_trend_has_its_line() -> None:
    ohm = FLAT + noise(60)
    (trend,) = resistance_trends(hookups(ohm), [])
    assert trend.kind is Shape.NONE
    assert trend.line is not None
    slope, intercept, low, high = stats.theilslopes(ohm, np.arange(60.0))
    assert (trend.line.slope, trend.line.low, trend.line.high) == pytest.approx((slope, low, high))
    assert trend.line.at(0) == pytest.approx(intercept + 59 * slope)
    assert trend.level_ohm == np.median(ohm)
    assert forecast(trend, 10.0) == Forecast(None, None, None)


def rising(ohm_per_day: float, seed: int = 1) -> ResistanceTrend:
    (trend,) = resistance_trends(hookups(2 + ohm_per_day * np.arange(60) + noise(60, seed)), [])
    assert trend.kind is Shape.DRIFT
    return trend


def test_a_forecast_is_where_the_lines_cross_the_limit() -> None:
    trend = rising(0.08)
    assert trend.line is not None
    reached = forecast(trend, 10.0)
    assert reached.days is not None
    assert reached.earliest is not None
    assert reached.latest is not None
    assert reached.earliest < reached.days < reached.latest
    assert trend.line.at(reached.days) == pytest.approx(10.0)
    middle = trend.line.middle_days
    assert trend.line.middle_ohm + trend.line.high * (reached.earliest - middle) == pytest.approx(
        10
    )
    assert trend.line.middle_ohm + trend.line.low * (reached.latest - middle) == pytest.approx(10)


@pytest.mark.parametrize(
    ("limit_ohm", "days"),
    [
        pytest.param(2.0, 0.0, id="below-the-median-of-all"),
        pytest.param(5.0, 0.0, id="passed-lately"),
        pytest.param(1000.0, None, id="beyond-ten-years"),
    ],
)
def test_a_forecast_at_its_ends(limit_ohm: float, days: float | None) -> None:
    assert forecast(rising(0.08), limit_ohm).days == days


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**6), shift=st.integers(-3000, 3000), scale=st.floats(0.01, 1000))
def test_when_it_is_and_what_resistance_is_measured_in_does_not_matter(
    seed: int, shift: int, scale: float
) -> None:
    ohm = RISE + noise(60, seed)
    (plain,) = resistance_trends(hookups(ohm), [])
    (moved,) = resistance_trends(hookups(ohm * scale, days=np.arange(60) + shift), [])
    assert moved.kind is plain.kind
    days = [forecast(*each).days for each in ((plain, 10.0), (moved, 10.0 * scale))]
    assert days[1] == pytest.approx(days[0], rel=1e-6, abs=1e-6)


def test_level_resistance_is_seldom_told_as_anything_else() -> None:
    # Each of the two tests calls 1 % of level series at most; steps and drifts need them.
    other = sum(
        resistance_trends(hookups(2 + noise(40, seed)), [])[0].kind is not Shape.NONE
        for seed in range(300)
    )
    assert other <= 9
