"""Grids of rows that read alike on every page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import dash_ag_grid as dag
from dash import html

from dashboard.parts import aria

Row = Mapping[str, Any]
Column = dict[str, Any]

AUTO_HEIGHT_ROWS = 20
"""Up to so many rows a grid is as high as they are; beyond, it scrolls."""
SCROLLING_PX = 560

CHARACTER_PX = 7.2
"""Mean width of a character of a grid, measured with mostly digits."""
CELL_PADDING_PX = 16
WIDEST_PX = 280

WRAPPED: Column = {"wrapText": True, "autoHeight": True, "cellClass": "cell-wrapped"}
"""The part of a column that shows a sentence on as many lines as it needs."""


def text(field: str, header: str, width: int = 130, **more: Any) -> Column:
    """Return a column of text."""
    return {"field": field, "headerName": header, "width": width} | more


def number(field: str, header: str, width: int = 110, **more: Any) -> Column:
    """Return a column sorted as numbers; zero recedes."""
    rules = {"cell-nothing": "params.value == 0 || params.value == null"}
    return (
        text(field, header, width)
        | {"type": "rightAligned", "cellClassRules": rules, "sortingOrder": ["desc", "asc", None]}
        | more
    )


def shown_as(field: str) -> dict[str, Any]:
    """Return the part of a column that shows another field's text and sorts by its own."""
    return {"valueFormatter": {"function": f"params.data.{field}"}}


def count_of(severity: str, field: str, header: str, width: int = 105) -> Column:
    """Return a column of counts that is marked wherever one is above zero."""
    rules = {f"cell-{severity}": "params.value > 0", "cell-nothing": "params.value == 0"}
    return number(field, header, width, cellClassRules=rules)


def link(field: str, header: str, width: int = 150, **more: Any) -> Column:
    """Return a column whose cells lead to the row's ``href``."""
    return text(field, header, width, cellRenderer="PageLink") | more


def severity_column() -> Column:
    """Return the column of a finding's severity: colour, sign and word."""
    rules = {
        f"cell-{severity}": f"params.data.severity_code == '{severity}'"
        for severity in ("critical", "major", "minor")
    }
    return text("severity", "Severity", 115, cellClassRules=rules)


def fitted(columns: Sequence[Column], rows: Sequence[Row]) -> list[Column]:
    """Return the columns, the ones whose text would be cut short made wider, up to a cap."""
    return [column | {"width": _width(column, rows)} for column in columns]


def _width(column: Column, rows: Sequence[Row]) -> int:
    if "flex" in column:
        return int(column["width"])
    shown = column.get("valueFormatter", {}).get("function", column["field"])
    field = shown.removeprefix("params.data.")
    longest = max((len(str(row.get(field, ""))) for row in rows), default=0)
    return max(
        int(column["width"]), min(WIDEST_PX, round(CHARACTER_PX * longest) + CELL_PADDING_PX)
    )


def grid(grid_id: str, columns: Sequence[Column], rows: Sequence[Row], label: str) -> html.Div:
    """Return a grid with a name for screen readers; wide ones scroll sideways by themselves."""
    short = len(rows) <= AUTO_HEIGHT_ROWS
    return html.Div(
        dag.AgGrid(
            id=grid_id,
            columnDefs=fitted(columns, rows),
            rowData=[dict(row) for row in rows],
            defaultColDef={
                "sortable": True,
                "resizable": True,
                "suppressMovable": True,
                "wrapHeaderText": True,
                "autoHeaderHeight": True,
            },
            dashGridOptions={
                "domLayout": "autoHeight" if short else "normal",
                "rowHeight": 34,
                "animateRows": False,
                "enableCellTextSelection": True,
                "ensureDomOrder": True,
            },
            style={"height": None if short else f"{SCROLLING_PX}px", "width": "100%"},
            className="grid",
        ),
        role="region",
        **aria(label),
    )
