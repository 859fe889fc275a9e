"""How trips add up, and where bonded resistance is heading."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go
import pytest

from analytics.core.drift import Shape, forecast, resistance_trends
from analytics.core.stretches import NS_PER_DAY, bonded
from bondtrail.results import Hookup, Outcome, WorkWindow
from dashboard.figures.steps import Clock
from dashboard.figures.wear import Resistance, resistance_course, trips_course
from tests.analytics.core.events import event_trend

CLOCK = Clock(0, "Europe/Lisbon, UTC+00:00")
DAY_MS = NS_PER_DAY / 1e6


def told(
    ohms: Sequence[float], limit_ohm: float = 10.0, work: Sequence[WorkWindow] = ()
) -> Resistance:
    """Return what is drawn of one hookup a day."""
    hookups = [
        Hookup("s", n * NS_PER_DAY, n * NS_PER_DAY + 1, Outcome.VERIFIED, 1.0, ohm, ohm, None)
        for n, ohm in enumerate(ohms)
    ]
    found, trends = bonded(hookups), resistance_trends(hookups, work)
    ahead = forecast(trends[-1], limit_ohm)
    period = 0, len(ohms) * NS_PER_DAY
    return Resistance(found.start, found.ohm, trends, ahead, work, limit_ohm, period)


def trace(figure: go.Figure, name: str) -> go.Scatter | None:
    return next((each for each in figure.data if each.name == name), None)


def test_a_drift_is_a_line_and_a_range_that_reach_the_limit() -> None:
    rising = [2.0 + 0.1 * n + 0.05 * (n % 3) for n in range(40)]
    shown = told(rising)
    figure = resistance_course(shown, CLOCK)
    assert shown.trends[-1].kind is Shape.DRIFT
    line, ahead = trace(figure, "Drift"), trace(figure, "Where it leads, 95 % of the slope")
    assert line is not None
    assert ahead is not None
    assert line.y[-1] == pytest.approx(shown.trends[-1].level_ohm)
    assert max(ahead.y) >= 10.0
    assert shown.forecast.latest is not None
    assert max(ahead.x) >= (39 + shown.forecast.latest) * DAY_MS
    assert trace(figure, "Step") is None


def test_a_step_is_marked_on_its_day_and_no_drift() -> None:
    stepped = [2.0 + 0.01 * (n % 3) for n in range(30)] + [5.0 + 0.01 * (n % 3) for n in range(30)]
    figure = resistance_course(told(stepped), CLOCK)
    step = trace(figure, "Step")
    assert step is not None
    assert list(step.x)[1:3] == [30 * DAY_MS] * 2
    assert list(step.y) == pytest.approx([2.01, 2.01, 5.01, 5.01])
    assert trace(figure, "Drift") is None
    assert any("step" in (each.text or ()) for each in figure.data)


def test_steady_resistance_is_dots_and_the_limit_alone() -> None:
    figure = resistance_course(told([2.0, 2.1, 1.9] * 10), CLOCK)
    assert [each.name for each in figure.data] == ["Median of a verified hookup"]
    assert figure.layout.annotations[0].text == "limit 10 ohm"
    assert figure.layout.yaxis.type is None


def test_resistance_far_below_a_high_limit_has_a_log_axis() -> None:
    figure = resistance_course(told([2.0, 2.1, 1.9] * 10, limit_ohm=1e6), CLOCK)
    assert figure.layout.yaxis.type == "log"
    assert figure.layout.annotations[0].y == pytest.approx(6.0)


def test_work_on_the_station_is_marked() -> None:
    window = WorkWindow("s", 5 * NS_PER_DAY, 6 * NS_PER_DAY, "clamp replaced")
    figure = resistance_course(told([2.0] * 10, work=[window]), CLOCK)
    marks = trace(figure, "Work on the station")
    assert marks is not None
    assert list(marks.x) == [5 * DAY_MS]
    assert list(marks.hovertext) == ["clamp replaced"]


@pytest.mark.parametrize("days", [[1.0, 2.0, 3.0], [9.5]])
def test_trips_add_up_to_how_many_there_are(days: list[float]) -> None:
    times = (np.array(days) * NS_PER_DAY).astype(np.int64)
    trend = event_trend([24 * day for day in days], 240.0)
    figure = trips_course(times, (0, 10 * NS_PER_DAY), CLOCK, trend.power_law)
    course = trace(figure, "Trips so far")
    assert course is not None
    assert list(course.y) == [0, *range(1, len(days) + 1), len(days)]
    assert list(course.x) == pytest.approx([0, *(day * DAY_MS for day in days), 10 * DAY_MS])


def test_a_power_law_ends_at_the_count_of_trips() -> None:
    days = [1.0, 4.0, 6.0, 7.5, 8.0, 9.5]
    trend = event_trend([24 * day for day in days], 240.0)
    times = (np.array(days) * NS_PER_DAY).astype(np.int64)
    figure = trips_course(times, (0, 10 * NS_PER_DAY), CLOCK, trend.power_law)
    law = trace(figure, "Power law")
    assert law is not None
    assert law.y[-1] == pytest.approx(len(days))
