"""CSV: every digit of a number, UTC times, and no text that a spreadsheet would run."""

from __future__ import annotations

import csv
import io
from typing import Any

import pandas as pd
import pytest

from analytics.reports.csv_files import csv_files
from tests.analytics.reports import made


def rows_of(*rows: made.Row) -> list[dict[str, str]]:
    text = csv_files(made.report(made.table(*rows)))["made"].decode()
    return list(csv.DictReader(io.StringIO(text)))


def test_a_row_has_every_digit_and_utc_times() -> None:
    (row,) = rows_of(made.row())
    assert row["at"] == "2026-03-10T06:00:00.250Z"
    assert row["day"] == "2026-03-10"
    assert float(row["lowest_ohm"]) == 1 / 3
    assert float(row["share_low"]) == made.row()["share"].low
    assert (row["count"], row["rate"], row["cause"]) == ("3", "0.1", "It was so.")


def test_what_is_unknown_is_empty_and_an_open_circuit_is_open() -> None:
    (row,) = rows_of(made.UNKNOWN)
    assert row["lowest_ohm"] == "open"
    assert {row[name] for name in ("at", "day", "share", "seconds", "count", "rate", "id")} == {""}


@pytest.mark.parametrize(
    ("text", "written"),
    [
        pytest.param("=1+1", "'=1+1", id="formula"),
        pytest.param("+1", "'+1", id="plus"),
        pytest.param("-1", "'-1", id="minus"),
        pytest.param("@SUM(A1)", "'@SUM(A1)", id="at"),
        pytest.param("\t=1", "'\t=1", id="tab"),
        pytest.param("a=b", "a=b", id="not-at-the-beginning"),
        pytest.param('say "so", twice\nover', 'say "so", twice\nover', id="quoted"),
        pytest.param("", "", id="empty"),
    ],
)
def test_text_never_begins_as_a_formula(text: str, written: str) -> None:
    (row,) = rows_of(made.row(cause=text))
    assert row["cause"] == written


def test_a_negative_number_stays_a_number() -> None:
    assert rows_of(made.row(rate=-2.5))[0]["rate"] == "-2.5"


def test_a_table_without_rows_has_its_heading() -> None:
    text = csv_files(made.report(made.table()))["made"].decode()
    assert text == ",".join(column.name for column in made.COLUMNS if column.name != "short") + "\n"


def test_the_summary_and_the_contents_are_tables_too() -> None:
    files = csv_files(made.report(made.table(made.row())))
    assert list(files) == ["summary", "contents", "made"]
    summary: Any = pd.read_csv(io.BytesIO(files["summary"])).set_index("item")
    assert summary.loc["compliance", "value"] == 498 / 512
    assert (summary.loc["compliance", "count"], summary.loc["compliance", "of"]) == (498, 512)
    assert list(summary.loc["mind", "says"]) == [
        "The records have holes.",
        "rail-1: no record for 40 s",
    ]
    assert "not a safety function" in " ".join(summary.loc["caution", "says"])
