"""Shares over time with their limits, and side by side with their intervals."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from analytics.core.charts import p_chart
from analytics.core.shares import wilson
from dashboard.figures.shares import (
    ABOVE,
    ABOVE_ROUGH,
    BELOW,
    BELOW_WHOLE,
    FEW_ROW,
    INSIDE,
    PLAIN,
    ROUGH,
    Row,
    Sign,
    intervals,
    share_course,
    signs,
)

MONDAY = dt.date(2026, 3, 2)


def mondays(count: int) -> list[dt.date]:
    return [MONDAY + n * dt.timedelta(days=7) for n in range(count)]


@pytest.mark.parametrize(
    ("bad", "of", "expected"),
    [
        pytest.param([10, 12, 11], [100, 100, 100], [INSIDE] * 3, id="all-inside"),
        pytest.param([10] * 9 + [40], [100] * 10, [*[INSIDE] * 9, ABOVE], id="one-above"),
        pytest.param([40] * 9 + [5], [100] * 10, [*[INSIDE] * 9, BELOW], id="one-below"),
        pytest.param([0] * 30 + [4], [30] * 31, [*[ROUGH] * 30, ABOVE_ROUGH], id="few-expected"),
        pytest.param([10, 0, 12], [100, 0, 100], [INSIDE, None, INSIDE], id="a-week-of-nothing"),
    ],
)
def test_each_week_stands_to_its_limits(
    bad: list[int], of: list[int], expected: list[Sign | None]
) -> None:
    assert signs(p_chart(bad, of)) == expected


def test_a_week_outside_its_limits_has_a_shape_and_a_word() -> None:
    chart = p_chart([10] * 9 + [40], [100] * 10)
    figure = share_course(mondays(11), [100] * 10, chart)
    told = {trace.name: trace for trace in figure.data}
    above = told["Above its limit"]
    assert above.marker.symbol == "diamond"
    assert list(above.text) == ["above"]
    assert list(above.hovertext) == ["2026-05-04: 40.0 % of 100, above its limit"]
    assert above.marker.symbol != told["Inside its limits"].marker.symbol


def test_a_weak_sign_has_a_word_and_a_shape_of_its_own() -> None:
    figure = share_course(mondays(32), [30] * 31, p_chart([0] * 30 + [4], [30] * 31))
    weak = next(trace for trace in figure.data if "weak sign" in (trace.name or ""))
    assert (weak.marker.symbol, list(weak.text)) == ("triangle-up", ["above"])


def test_limits_are_levels_from_the_first_to_the_last_day_of_each_week() -> None:
    chart = p_chart([10, 20, 0], [100, 400, 0])
    figure = share_course(mondays(4), [100, 400, 0], chart)
    limits = next(trace for trace in figure.data if trace.name == "Limits")
    assert list(limits.x)[:4] == ["2026-03-02", "2026-03-09", "2026-03-09", "2026-03-16"]
    first, second = chart.upper[:2]
    assert limits.y[:4] == pytest.approx([first, first, second, second])
    assert np.isnan(limits.y[4:]).all()
    assert list(figure.layout.xaxis.range) == ["2026-03-02", "2026-03-23"]


def test_a_point_lies_in_the_middle_of_its_week() -> None:
    figure = share_course(mondays(2), [100], p_chart([10], [100]))
    points = next(trace for trace in figure.data if trace.name == "Inside its limits")
    assert list(points.x) == ["2026-03-05T12:00:00"]


def test_nothing_to_count_is_drawn_as_an_empty_chart() -> None:
    figure = share_course(mondays(2), [0], p_chart([0], [0]))
    assert not any("markers" in trace.mode for trace in figure.data)
    assert np.isnan(figure.data[-1].y).all()


def test_rows_that_are_surely_worse_than_the_whole_are_told_by_shape() -> None:
    rows = [
        Row("bad", wilson(50, 100)),
        Row("few", wilson(1, 3)),
        Row("good", wilson(98, 100)),
        Row("idle", wilson(0, 0)),
    ]
    figure = intervals(rows, wilson(900, 1000))
    by_name = {trace.name: trace for trace in figure.data}
    assert list(by_name[BELOW_WHOLE.name.capitalize()].y) == ["bad"]
    assert list(by_name[FEW_ROW.name.capitalize()].y) == ["few"]
    assert list(by_name[PLAIN.name.capitalize()].y) == ["good"]
    assert len({trace.marker.symbol for trace in figure.data}) == 3
    assert figure.layout.shapes[0].x0 == pytest.approx(0.9)
    assert list(figure.layout.yaxis.categoryarray) == ["bad", "few", "good", "idle"]


def test_bars_reach_to_the_ends_of_the_interval() -> None:
    part = wilson(50, 100)
    (trace,) = intervals([Row("a", part)], part).data
    assert part.low is not None
    assert part.high is not None
    assert trace.x[0] + trace.error_x.array[0] == pytest.approx(part.high)
    assert trace.x[0] - trace.error_x.arrayminus[0] == pytest.approx(part.low)


def test_no_rows_make_an_empty_chart() -> None:
    figure = intervals([], wilson(0, 0))
    assert len(figure.data) == 0
    assert len(figure.layout.shapes) == 0
