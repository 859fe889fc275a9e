"""The calendar: every cell has a sign beside its colour."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from dashboard.figures.calendar import COLOURS, MEANING, SIGNS, Calendar, Cell, heat_strip

DAYS = [dt.date(2026, 3, 1) + dt.timedelta(days=n) for n in range(7)]


def calendar(cells: list[list[int]], findings: list[list[int]] | None = None) -> Calendar:
    found = np.zeros_like(cells) if findings is None else np.array(findings)
    ids = [f"rail-{n + 1}" for n in range(len(cells))]
    names = [f"Rail spot {n + 1}" for n in range(len(cells))]
    return Calendar(ids, names, DAYS, np.array(cells).reshape(len(ids), -1), found)


def test_each_meaning_has_its_own_sign_and_colour() -> None:
    assert len(SIGNS) == len(COLOURS) == len(MEANING) == len(Cell)
    told = [SIGNS[c] for c in Cell if c > Cell.QUIET]
    assert len(set(told)) == len(told)
    assert "" not in told


def test_cells_carry_sign_colour_step_and_words() -> None:
    cells = [[0, 1, 2, 3, 4, 5, 6]]
    figure = heat_strip(calendar(cells, [[0, 0, 0, 0, 1, 2, 3]]))
    (heat,) = figure.data
    assert heat.text.tolist() == [["", "", "·", "?", "●", "▲", "◆"]]
    assert heat.customdata[0].tolist()[4:] == [
        "1 finding, the worst: minor finding",
        "2 findings, the worst: major finding",
        "3 findings, the worst: critical finding",
    ]
    assert (heat.zmin, heat.zmax) == (-0.5, 6.5)


def test_the_colour_scale_steps_in_the_middle_between_codes() -> None:
    scale = heat_strip(calendar([[0] * 7])).data[0].colorscale
    for code, colour in enumerate(COLOURS):
        at = (code + 0.5) / 7
        below = [c for position, c in scale if position <= at][-1]
        above = next(c for position, c in scale if position >= at)
        assert below == above == colour


def test_rows_are_stations_from_the_top_down_and_named() -> None:
    figure = heat_strip(calendar([[0] * 7, [1] * 7]))
    assert figure.data[0].y == ("rail-1", "rail-2")
    assert figure.layout.yaxis.ticktext == ("Rail spot 1", "Rail spot 2")
    assert figure.layout.yaxis.autorange == "reversed"


def test_more_rows_make_a_higher_figure() -> None:
    heights = [heat_strip(calendar([[0] * 7] * n)).layout.height for n in (1, 2, 40)]
    assert heights == sorted(set(heights))


@pytest.mark.parametrize("count", [1, 28, 92, 400])
def test_few_marks_stand_along_the_days(count: int) -> None:
    days = [dt.date(2026, 1, 1) + dt.timedelta(days=n) for n in range(count)]
    shown = Calendar(["a"], ["A"], days, np.zeros((1, count), int), np.zeros((1, count), int))
    assert 1 <= len(heat_strip(shown).layout.xaxis.tickvals) <= 8


def test_no_stations_still_make_a_figure() -> None:
    shown = Calendar([], [], DAYS, np.zeros((0, 7), int), np.zeros((0, 7), int))
    assert heat_strip(shown).layout.height > 0


@pytest.mark.parametrize(
    ("step", "first", "last"),
    [(1, "1 Jan", "8 Jan"), (31, "1 Jan", "6 Aug"), (61, "Jan 2026", "Mar 2027")],
)
def test_marks_of_long_periods_name_the_year(step: int, first: str, last: str) -> None:
    days = [dt.date(2026, 1, 1) + dt.timedelta(days=n * step) for n in range(8)]
    shown = Calendar(["a"], ["A"], days, np.zeros((1, 8), int), np.zeros((1, 8), int))
    marks = heat_strip(shown).layout.xaxis.ticktext
    assert (marks[0], marks[-1]) == (first, last)
