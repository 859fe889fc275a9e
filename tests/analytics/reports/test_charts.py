"""Drawings: sound SVG, the same bytes for the same rows, and what is abnormal has a shape."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest

from analytics.reports.charts import DRAWINGS, MOST_BARS, MOST_STATIONS

WEEKS = pd.DataFrame(
    {
        "week": ["2026-w10", "2026-w11", "2026-w12"],
        "share": [0.01, np.nan, 0.09],
        "centre": [0.03] * 3,
        "lower": [0.0, np.nan, 0.0],
        "upper": [0.08, np.nan, 0.07],
        "outside": ["", "", "above its limit"],
    }
)
CAUSES = pd.DataFrame(
    {
        "station": ["rail-1", "rail-2"],
        "cause": ["brief contact loss", "monitor fault"],
        "count": pd.array([9, 3], dtype="Int64"),
        "cumulative": [0.75, 1.0],
    }
)
STATIONS = pd.DataFrame(
    {
        "station": ["rail-1", "bowl", "tote"],
        "compliance": [0.95, np.nan, 1.0],
        "compliance_low": [0.9, np.nan, 0.8],
        "compliance_high": [0.98, np.nan, 1.0],
    }
)
ROWS = {"weekly_shares": WEEKS, "pareto_bars": CAUSES, "station_intervals": STATIONS}


def texts(drawing: str) -> list[str]:
    svg = ElementTree.fromstring(drawing)
    return ["".join(each.itertext()) for each in svg.iter("{http://www.w3.org/2000/svg}text")]


@pytest.mark.parametrize("name", list(DRAWINGS))
def test_a_drawing_is_sound_and_alone(name: str) -> None:
    drawing = DRAWINGS[name](ROWS[name])
    svg = ElementTree.fromstring(drawing)
    assert svg.get("role") == "img"
    assert len(svg.get("aria-label", "")) > 20
    assert not re.search(r"<metadata|<style|<script|<image|xlink:href=\"(?!#)", drawing)


@pytest.mark.parametrize("name", list(DRAWINGS))
def test_the_same_rows_are_the_same_bytes(name: str) -> None:
    assert DRAWINGS[name](ROWS[name]) == DRAWINGS[name](ROWS[name].copy())


def test_threads_that_draw_at_once_draw_the_same() -> None:
    with ThreadPoolExecutor(4) as pool:
        drawn = set(pool.map(lambda _: str(DRAWINGS["pareto_bars"](CAUSES)), range(8)))
    assert drawn == {DRAWINGS["pareto_bars"](CAUSES)}


def test_no_two_drawings_share_an_id() -> None:
    ids = [re.findall(r'\bid="([^"]+)"', DRAWINGS[name](ROWS[name])) for name in ROWS]
    assert all(ids)
    every = [each for found in ids for each in set(found)]
    assert len(every) == len(set(every))


def test_every_reference_has_its_target() -> None:
    for name, rows in ROWS.items():
        drawing = DRAWINGS[name](rows)
        used = set(re.findall(r'(?:href="#|url\(#)([^")]+)', drawing))
        assert used <= set(re.findall(r'\bid="([^"]+)"', drawing))


def test_a_week_outside_its_limits_has_a_shape_and_a_word() -> None:
    usual = WEEKS.assign(outside="")
    told = DRAWINGS["weekly_shares"](WEEKS)
    assert "outside its limits" in texts(told)
    assert told.count("#d55e00") > DRAWINGS["weekly_shares"](usual).count("#d55e00")


def test_very_many_weeks_are_not_all_named() -> None:
    year = pd.concat([WEEKS] * 20, ignore_index=True)
    assert 5 <= sum("-w" in text for text in texts(DRAWINGS["weekly_shares"](year))) <= 13


def test_bars_say_their_count_and_how_much_of_all_it_is_so_far() -> None:
    assert {"9, so far 75 %", "3, so far 100 %"} <= set(texts(DRAWINGS["pareto_bars"](CAUSES)))


def test_only_the_largest_causes_are_drawn() -> None:
    many = pd.concat([CAUSES] * 50, ignore_index=True)
    drawn = [text for text in texts(DRAWINGS["pareto_bars"](many)) if text.startswith("rail-")]
    assert len(drawn) == MOST_BARS


def test_names_are_drawn_as_they_are() -> None:
    odd = CAUSES.assign(station=["$x^2$", "<b>&"])
    drawn = texts(DRAWINGS["pareto_bars"](odd))
    assert {"$x^2$: brief contact loss", "<b>&: monitor fault"} <= set(drawn)


def test_stations_without_transfers_are_not_drawn() -> None:
    drawn = texts(DRAWINGS["station_intervals"](STATIONS))
    assert "rail-1" in drawn
    assert "bowl" not in drawn


@pytest.mark.parametrize("rows", [STATIONS.iloc[1:2], pd.concat([STATIONS] * MOST_STATIONS)])
def test_no_station_or_very_many_have_no_drawing(rows: pd.DataFrame) -> None:
    assert DRAWINGS["station_intervals"](rows) == ""
