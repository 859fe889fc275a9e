"""Bars of what is counted, most first, and how much of all they make together."""

from __future__ import annotations

import pytest

from analytics.core.charts import pareto
from dashboard.figures.pareto import pareto_bars


def test_bars_come_most_first_with_the_share_of_them_and_all_above() -> None:
    figure = pareto_bars(pareto({"a": 1, "b": 6, "c": 3}), "nuisance trips")
    bars, line = figure.data
    assert list(bars.y) == ["b", "c", "a"]
    assert list(bars.x) == [6, 3, 1]
    assert list(line.x) == pytest.approx([0.6, 0.9, 1.0])
    assert line.xaxis == "x2"
    assert figure.layout.yaxis.autorange == "reversed"
    assert figure.layout.xaxis.title.text == "Nuisance trips"


def test_nothing_counted_makes_no_bars() -> None:
    assert list(pareto_bars([], "trips").data[0].x) == []
