"""Grids: sorted by numbers, read as text, marked where something is wrong."""

from __future__ import annotations

import pytest

from dashboard import grids


def test_a_number_is_sorted_by_itself_and_shown_as_text() -> None:
    column = grids.number("flow_s", "Flow", **grids.shown_as("flow"))
    assert column["field"] == "flow_s"
    assert column["valueFormatter"] == {"function": "params.data.flow"}
    assert column["type"] == "rightAligned"


def test_numbers_sort_greatest_first() -> None:
    assert grids.number("n", "N")["sortingOrder"][0] == "desc"


@pytest.mark.parametrize("severity", ["critical", "major", "minor"])
def test_a_count_is_marked_only_above_zero(severity: str) -> None:
    rules = grids.count_of(severity, "n", "N")["cellClassRules"]
    assert rules[f"cell-{severity}"] == "params.value > 0"
    assert rules["cell-nothing"] == "params.value == 0"


def test_every_severity_has_its_mark() -> None:
    rules = grids.severity_column()["cellClassRules"]
    assert set(rules) == {"cell-critical", "cell-major", "cell-minor"}


def test_a_link_is_drawn_as_one() -> None:
    assert grids.link("name", "Name")["cellRenderer"] == "PageLink"


@pytest.mark.parametrize(
    ("rows", "layout", "height"),
    [
        (0, "autoHeight", None),
        (grids.AUTO_HEIGHT_ROWS, "autoHeight", None),
        (grids.AUTO_HEIGHT_ROWS + 1, "normal", f"{grids.SCROLLING_PX}px"),
    ],
)
def test_a_short_grid_is_as_high_as_its_rows(rows: int, layout: str, height: str | None) -> None:
    drawn = grids.grid("g", [grids.text("a", "A")], [{"a": n} for n in range(rows)], "Rows")
    assert drawn.children.dashGridOptions["domLayout"] == layout
    assert drawn.children.style["height"] == height


def test_a_grid_has_a_name_for_screen_readers() -> None:
    drawn = grids.grid("g", [], [], "Stations, worst first")
    assert drawn.to_plotly_json()["props"]["aria-label"] == "Stations, worst first"
    assert drawn.role == "region"


def test_no_option_of_the_paid_grid_is_used() -> None:
    drawn = grids.grid("g", [], [], "Rows").children
    assert not getattr(drawn, "enableEnterpriseModules", None)
    assert not getattr(drawn, "licenseKey", None)


@pytest.mark.parametrize(
    ("text", "width"),
    [("1 of 2", 90), ("11,026 of 11,026", 131), ("x" * 500, grids.WIDEST_PX)],
)
def test_a_column_is_as_wide_as_its_longest_text(text: str, width: int) -> None:
    column = grids.number("n", "N", 90, **grids.shown_as("said"))
    (fitted,) = grids.fitted([column], [{"n": 1, "said": ""}, {"n": 2, "said": text}])
    assert fitted["width"] == width


def test_a_column_that_takes_what_is_left_keeps_its_width() -> None:
    column = grids.text("a", "A", 90, flex=1)
    assert grids.fitted([column], [{"a": "x" * 100}])[0]["width"] == 90
