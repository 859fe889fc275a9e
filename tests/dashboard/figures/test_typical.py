"""The typical transfer laid over one: hidden at first, aligned at first flow, open at the top."""

from __future__ import annotations

import math

import numpy as np

from analytics.core.typical import Typical, TypicalCourse
from bondtrail.site import Role
from dashboard.figures.resistance import axis_ends
from dashboard.figures.transfer import replay
from dashboard.figures.typical import META
from tests.dashboard.figures.test_transfer import picture, seconds, signal

NAN = math.nan
RANGE, MEDIAN = "Range of the good transfers", "Median of the good transfers"


def laid(low: list[float], median: list[float], high: list[float], flow=None):  # type: ignore[no-untyped-def]
    offset = np.arange(len(low)) * 10.0 - 10.0
    course = TypicalCourse(offset, np.array(low), np.array(median), np.array(high))
    typical = Typical(
        "toluene",
        ("a",) * 6,
        courses={Role.RESISTANCE: course} | ({Role.FLOW: flow} if flow else {}),
    )
    figure = replay(picture(resistance=signal({0: 4.0}), typical=typical))
    return [trace for trace in figure.data if trace.meta == META]


def test_it_is_hidden_until_asked_for_and_begins_at_first_flow() -> None:
    band, median = laid([3.0, 3.5, 3.0], [4.0, 4.5, 4.0], [5.0, 6.0, 5.0])
    assert (band.name, median.name) == (RANGE, MEDIAN)
    assert (band.visible, median.visible) == (False, False)
    assert seconds(median) == [10, 20, 30]  # the transfer begins at 20 s
    assert median.y.tolist() == [4.0, 4.5, 4.0]
    assert median.line.dash == "dashdot"


def test_the_band_is_an_outline_of_the_range() -> None:
    band, _ = laid([3.0, 3.5, 3.0], [4.0, 4.5, 4.0], [5.0, 6.0, 5.0])
    assert band.fill == "toself"
    assert seconds(band)[:6] == [10, 20, 30, 30, 20, 10]
    assert band.y[:6].tolist() == [3.0, 3.5, 3.0, 5.0, 6.0, 5.0]


def test_open_circuit_is_at_the_top_and_nought_at_the_bottom() -> None:
    band, median = laid([0.0, 0.0], [0.0, math.inf], [math.inf, math.inf])
    low, top = axis_ends(picture(resistance=signal({0: 4.0})))
    assert median.y.tolist() == [low, top]
    assert np.nanmax(band.y) == top


def test_where_too_few_are_known_nothing_is_drawn() -> None:
    band, median = laid([3.0, NAN, 3.0, 3.0], [4.0, NAN, 4.0, 4.0], [5.0, NAN, 5.0, 5.0])
    assert np.isnan(median.y).tolist() == [False, True, False, False]
    parts = np.split(band.y, np.flatnonzero(np.isnan(band.y)))
    assert [part[~np.isnan(part)].size for part in parts] == [2, 4, 0]


def test_flow_is_laid_over_its_own_panel_and_named_once() -> None:
    flow = TypicalCourse(np.array([0.0, 10.0]), *(np.array([v, v]) for v in (500.0, 600.0, 700.0)))
    traces = laid([3.0, 3.0], [4.0, 4.0], [5.0, 5.0], flow=flow)
    assert [trace.yaxis for trace in traces] == ["y", "y", "y2", "y2"]
    assert [trace.showlegend for trace in traces] == [True, True, False, False]


def test_a_course_that_is_known_nowhere_is_left_out() -> None:
    assert laid([NAN, NAN], [NAN, NAN], [NAN, NAN]) == []
