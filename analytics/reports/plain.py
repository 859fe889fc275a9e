"""Cells as programs get them: plain numbers and texts, UTC times, None for what is not known."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd

from analytics.reports.tables import Column, Sort, Table
from bondtrail.times import format_time


def plain_columns(table: Table) -> list[list[Any]]:
    """Return the cells of each column. An open circuit is the text ``open``."""
    return [_plain(column, table.rows[column.name]) for column in table.data_columns]


def _plain(column: Column[Any], cells: pd.Series[Any]) -> list[Any]:
    told = _PLAIN.get(column.sort, float)
    return [
        None if missing else told(cell) for cell, missing in zip(cells, cells.isna(), strict=True)
    ]


def _ohm(cell: float) -> float | str:
    return "open" if math.isinf(cell) else float(cell)


_PLAIN: Mapping[Sort, Callable[[Any], Any]] = {
    Sort.TEXT: str,
    Sort.COUNT: int,
    Sort.OHM: _ohm,
    Sort.TIME: lambda cell: format_time(cell.value),
    Sort.DAY: str,
}
