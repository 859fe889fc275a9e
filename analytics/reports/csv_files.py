"""A report as CSV: one file a table.

Text that a spreadsheet would take for a formula gets an apostrophe in front: batch names and
comments come from outside, and a spreadsheet that opens a CSV runs what begins like one. Numbers
are left as they are, with all their digits. Times are UTC, as everywhere in CSV and JSON.
"""

from __future__ import annotations

import csv
import io
from typing import Any

from analytics.reports.plain import plain_columns
from analytics.reports.report import Report
from analytics.reports.tables import Sort, Table
from bondtrail.formulas import harmless


def csv_files(report: Report) -> dict[str, bytes]:
    """Return the content of each file by the name of its table."""
    return {table.name: _file(table) for table in report.tables()}


def _file(table: Table) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([column.name for column in table.data_columns])
    guards = [_harmless if column.sort is Sort.TEXT else _told for column in table.data_columns]
    columns = [
        [guard(value) for value in values]
        for guard, values in zip(guards, plain_columns(table), strict=True)
    ]
    writer.writerows(zip(*columns, strict=True))
    return text.getvalue().encode()


def _harmless(value: Any) -> Any:
    return harmless(value) if isinstance(value, str) else _told(value)


def _told(value: Any) -> Any:
    return "" if value is None else value
