"""Rows become typed columns, and a figure the columns that stand behind it."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from analytics.core.shares import wilson
from analytics.reports.tables import Column, Place, Sort, figure, frame, within
from bondtrail.times import parse_time

ZONE = ZoneInfo("Asia/Kolkata")


def column(sort: Sort, values: list[Any]) -> pd.Series[Any]:
    it: Column[Any] = Column("it", "It", lambda row: row, sort)
    return frame([it], values, ZONE)["it"]


@pytest.mark.parametrize(
    ("sort", "value", "expected"),
    [
        pytest.param(Sort.COUNT, 3, 3, id="count"),
        pytest.param(Sort.NUMBER, 2.5, 2.5, id="number"),
        pytest.param(Sort.OHM, math.inf, math.inf, id="open-circuit"),
        pytest.param(Sort.TEXT, "=1", "=1", id="text"),
        pytest.param(Sort.DAY, dt.date(2026, 3, 1), dt.date(2026, 3, 1), id="day"),
        pytest.param(
            Sort.TIME,
            parse_time("2026-03-01T00:00:00Z"),
            pd.Timestamp("2026-03-01T05:30:00", tz=ZONE),
            id="site-time-half-an-hour-off",
        ),
    ],
)
def test_a_cell_keeps_its_value_and_what_is_unknown_is_missing(
    sort: Sort, value: Any, expected: Any
) -> None:
    cells = column(sort, [value, None])
    assert cells[0] == expected
    assert list(cells.isna()) == [False, True]


def test_without_rows_there_are_columns_still() -> None:
    columns: list[Column[Any]] = [Column(sort.value, "", str, sort) for sort in Sort]
    rows = frame(columns, [], ZONE)
    assert list(rows) == [sort.value for sort in Sort]
    assert len(rows) == 0


def test_a_moment_keeps_its_nanoseconds() -> None:
    moment = parse_time("2026-03-01T00:00:00.123456789Z")
    assert column(Sort.TIME, [moment])[0].value == moment


def test_a_figure_has_its_interval_its_count_and_its_whole() -> None:
    columns = figure("share", "Share", lambda row: row)
    rows = frame(columns, [wilson(1, 4), wilson(0, 0)], ZONE)
    assert list(rows) == ["share", "share_low", "share_high", "share_count", "share_of"]
    assert list(rows.iloc[0]) == [0.25, wilson(1, 4).low, wilson(1, 4).high, 1, 4]
    assert list(rows["share"].isna()) == [False, True]
    assert [each.place for each in columns] == [Place.EVERYWHERE, *[Place.DATA] * 4]


def test_columns_of_inner_rows_are_read_through() -> None:
    inner: list[Column[Any]] = [
        Column("n", "N", lambda row: row * 2),
        Column("m", "M", lambda row: -row),
    ]
    rows = frame(within(inner, lambda row: row["inner"]), [{"inner": 3}], ZONE)
    assert (rows["n"][0], rows["m"][0]) == (6, -3)
