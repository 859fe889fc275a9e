"""A report as a workbook: one sheet a table, real numbers and dates, units in the headings.

Nothing from outside becomes a formula or a link: text is written as text. A sheet knows no zones,
so its times are on the clock of the site, which the heading names.
"""

from __future__ import annotations

import io
import math
from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from analytics.reports.report import Report
from analytics.reports.tables import Column, Sort, Table
from bondtrail.times import local

MOST_ROWS = 1_048_575
"""What a sheet holds below its heading."""
LONGEST_TEXT = 32_767
"""Characters in a cell."""
_WIDEST = 60

_FORMATS: Mapping[Sort, str] = {
    Sort.TEXT: "@",
    Sort.COUNT: "#,##0",
    Sort.NUMBER: "#,##0.0000",
    Sort.SHARE: "0.0%",
    Sort.SECONDS: "#,##0.0",
    Sort.OHM: "#,##0.00",
    Sort.TIME: "yyyy-mm-dd hh:mm:ss",
    Sort.DAY: "yyyy-mm-dd",
}
_WIDTHS = {Sort.TIME: 20, Sort.DAY: 12}
_UNITS = {Sort.SECONDS: "s", Sort.OHM: "ohm"}


class TooManyRowsError(ValueError):
    """A table that no sheet can hold."""


def xlsx_file(report: Report) -> bytes:
    """Return the content of the workbook.

    Raises
    ------
    TooManyRowsError
        If a table is longer than a sheet.
    """
    content = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    zone = report.cover.zone
    with xlsxwriter.Workbook(content, options) as book:
        book.set_properties(
            {
                "title": f"{report.cover.site_name}: {report.cover.period}",
                "created": local(report.cover.made, ZoneInfo("UTC")).replace(tzinfo=None),
            }
        )
        formats = {sort: book.add_format({"num_format": form}) for sort, form in _FORMATS.items()}
        head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
        for table in report.tables():
            _sheet(book.add_worksheet(table.name[:31]), table, formats, head, zone)
    return content.getvalue()


def _sheet(
    sheet: Worksheet, table: Table, formats: Mapping[Sort, Format], head: Format, zone: ZoneInfo
) -> None:
    if len(table.rows) > MOST_ROWS:
        raise TooManyRowsError(
            f"{table.title}: {len(table.rows):,} rows are more than a sheet holds; "
            "write CSV or JSON, or a shorter period"
        )
    for n, column in enumerate(table.data_columns):
        cells = _cells(column, table.rows[column.name])
        sheet.write_string(0, n, heading(column, zone), head)
        sheet.set_column(n, n, _width(column, cells), formats[column.sort])
        for row, cell in enumerate(cells, start=1):
            _write(sheet, row, n, cell, formats[column.sort])
    sheet.freeze_panes(1, 0)
    sheet.autofilter(0, 0, max(len(table.rows), 1), len(table.data_columns) - 1)
    sheet.repeat_rows(0)
    sheet.set_landscape()
    sheet.set_paper(9)  # A4
    sheet.fit_to_pages(1, 0)


def heading(column: Column[Any], zone: ZoneInfo) -> str:
    """Return a heading with its unit; for times that is the zone of the site."""
    unit = zone.key if column.sort is Sort.TIME else column.unit or _UNITS.get(column.sort, "")
    return f"{column.head} [{unit}]" if unit else column.head


def _cells(column: Column[Any], cells: pd.Series[Any]) -> list[Any]:
    if column.sort is Sort.TIME:
        cells = cells.dt.tz_localize(None)
    return [None if missing else cell for cell, missing in zip(cells, cells.isna(), strict=True)]


def _width(column: Column[Any], cells: list[Any]) -> int:
    if column.sort is not Sort.TEXT:
        return _WIDTHS.get(column.sort, 13)
    longest = max((len(cell) for cell in cells if cell is not None), default=0)
    return min(max(longest, 10) + 2, _WIDEST)


def _write(sheet: Worksheet, row: int, column: int, cell: Any, form: Format) -> None:
    if cell is None:
        return
    if isinstance(cell, str):
        sheet.write_string(row, column, cell[:LONGEST_TEXT], form)
    elif isinstance(cell, pd.Timestamp):
        sheet.write_datetime(row, column, cell.to_pydatetime(warn=False), form)
    elif hasattr(cell, "toordinal"):
        sheet.write_datetime(row, column, cell, form)
    elif math.isinf(cell):
        sheet.write_string(row, column, "open", form)
    else:
        sheet.write_number(row, column, cell, form)
