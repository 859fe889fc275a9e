"""The drawing of alarms over time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from dashboard.figures import palette
from dashboard.figures.alarms import Bars, alarm_bars
from dashboard.figures.steps import Clock

MIN = 60 * 10**9
LEVELS = [("Too many above", 10.0)]


def bars(
    counts: Sequence[int], floods: Sequence[int] = (), levels: Sequence[tuple[str, float]] = LEVELS
) -> Bars:
    """Bars of ten minutes from 1970 on."""
    told = np.array(counts, np.int64)
    return Bars(
        edges=np.arange(told.size + 1, dtype=np.int64) * 10 * MIN,
        counts=told,
        values=told.astype(np.float64),
        floods=np.array(floods or [0] * told.size, np.int64),
        unit="10 minutes",
        stretch="10 minutes",
        levels=levels,
        clock=Clock(3600 * 10**9, "Somewhere, UTC+01:00"),
    )


def traces(figure: Any) -> dict[str, Any]:
    return {trace.name: trace for trace in figure.data}


def test_bars_over_the_level_are_told_apart_by_colour_and_word() -> None:
    found = traces(alarm_bars(bars([3, 12, 10])))
    assert list(found) == ["Alarms", "Over 10 per 10 minutes"]
    assert found["Alarms"].y.tolist() == [3, 10]
    assert found["Alarms"].marker.color == palette.LINE
    assert found["Over 10 per 10 minutes"].y.tolist() == [12]
    assert found["Over 10 per 10 minutes"].marker.color == palette.ORANGE


def test_nothing_over_is_all_grey() -> None:
    assert list(traces(alarm_bars(bars([3, 10])))) == ["Alarms"]


def test_bars_stand_on_the_clock_of_the_site() -> None:
    figure = alarm_bars(bars([1, 2]))
    hour = 3_600_000.0
    assert traces(figure)["Alarms"].x.tolist() == [hour + 300_000, hour + 900_000]
    assert list(figure.layout.xaxis.range) == [hour, hour + 1_200_000]
    assert figure.layout.xaxis.title.text == "Site time: Somewhere, UTC+01:00"


def test_floods_have_a_shape_and_a_word() -> None:
    found = traces(alarm_bars(bars([3, 12, 6], floods=[0, 1, 1])))
    assert found["Flood"].marker.symbol == "triangle-down"
    assert len(found["Flood"].x) == 2
    assert "Flood" not in traces(alarm_bars(bars([3, 12])))


def test_each_bar_tells_what_it_holds() -> None:
    found = traces(alarm_bars(bars([1, 12], floods=[0, 2])))
    assert list(found["Alarms"].customdata) == ["01 Jan 01:00, 10 minutes: 1 alarm"]
    assert list(found["Over 10 per 10 minutes"].customdata) == [
        "01 Jan 01:10, 10 minutes: 12 alarms, 2 floods"
    ]


@pytest.mark.parametrize(
    ("most", "drawn"),
    [
        pytest.param(4, [], id="far-below"),
        pytest.param(5, ["Too many above 10"], id="near"),
        pytest.param(50, ["Too many above 10"], id="above"),
    ],
)
def test_a_level_is_drawn_where_bars_stay_readable(most: int, drawn: list[str]) -> None:
    figure = alarm_bars(bars([most]))
    assert [note.text for note in figure.layout.annotations] == drawn


def test_bars_above_one_of_two_levels_are_told_from_those_above_both() -> None:
    two = [("Acceptable up to", 144.0), ("Manageable up to", 288.0)]
    figure = alarm_bars(bars([144, 200, 288, 300], levels=two))
    found = traces(figure)
    assert {name: (trace.y.tolist(), trace.marker.color) for name, trace in found.items()} == {
        "Alarms": ([144], palette.LINE),
        "Over 144 per 10 minutes": ([200, 288], palette.SKY_BLUE),
        "Over 288 per 10 minutes": ([300], palette.ORANGE),
    }
    assert [note.text for note in figure.layout.annotations] == [
        "Acceptable up to 144",
        "Manageable up to 288",
    ]
