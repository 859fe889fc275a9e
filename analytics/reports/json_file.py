"""A report as JSON: one object, every table under its name as an array of objects."""

from __future__ import annotations

import json
from typing import Any

from analytics.reports.plain import plain_columns
from analytics.reports.report import Report
from analytics.reports.tables import FIGURE_PARTS, Table


def json_file(report: Report) -> bytes:
    """Return the content of the file.

    A figure with an interval is an object of its own: value, low, high, count and of.
    """
    tables = {table.name: _objects(table) for table in report.tables()}
    return f"{json.dumps(tables, ensure_ascii=False, allow_nan=False, indent=1)}\n".encode()


def _objects(table: Table) -> list[dict[str, Any]]:
    names = [column.name for column in table.data_columns]
    figures = [column.name for column in table.data_columns if column.is_figure]
    columns = zip(*plain_columns(table), strict=True)
    return [_nested(dict(zip(names, cells, strict=True)), figures) for cells in columns]


def _nested(row: dict[str, Any], figures: list[str]) -> dict[str, Any]:
    for name in figures:
        row[name] = {"value": row[name]} | {
            part: row.pop(f"{name}_{part}") for part in FIGURE_PARTS
        }
    return row
