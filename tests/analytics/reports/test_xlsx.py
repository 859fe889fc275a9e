"""A workbook: real numbers and dates, units in the headings, and no formula ever."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from typing import Any

import openpyxl
import pytest

from analytics.reports import xlsx
from analytics.reports.xlsx import TooManyRowsError, xlsx_file
from tests.analytics.reports import made


def sheet(*rows: made.Row, name: str = "made") -> Any:
    content = xlsx_file(made.report(made.table(*rows)))
    return openpyxl.load_workbook(io.BytesIO(content))[name]


def cells(found: Any, row: int = 2) -> dict[str, Any]:
    names = [column.name for column in made.COLUMNS if column.name != "short"]
    return dict(zip(names, found[row], strict=True))


def test_there_is_a_sheet_for_each_table() -> None:
    content = xlsx_file(made.report(made.table(made.row())))
    assert openpyxl.load_workbook(io.BytesIO(content)).sheetnames == ["summary", "contents", "made"]


def test_numbers_and_dates_are_real_ones() -> None:
    found = cells(sheet(made.row()))
    assert found["lowest_ohm"].value == pytest.approx(1 / 3, rel=1e-15)
    assert found["count"].value == 3
    assert found["at"].value == dt.datetime(2026, 3, 10, 6, 0, 0, 250_000)
    assert found["day"].value == dt.datetime(2026, 3, 10)
    assert (found["share"].value, found["share"].number_format) == (0.9, "0.0%")
    assert found["at"].number_format == "yyyy-mm-dd hh:mm:ss"


def test_site_time_is_written_and_the_heading_names_the_zone() -> None:
    summer = made.row(at=made.MADE)  # 09:30 UTC, an hour later at the quay
    assert cells(sheet(summer))["at"].value == dt.datetime(2026, 4, 2, 10, 30)
    assert cells(sheet(summer), 1)["at"].value == "Begins [Europe/Lisbon]"


def test_headings_have_units() -> None:
    heads = [cell.value for cell in sheet()[1]]
    assert {"Lowest [ohm]", "Lasts [s]", "Rate [per 100 h]", "Trips"} <= set(heads)


def test_the_heading_stays_in_sight() -> None:
    assert sheet(made.row()).freeze_panes == "A2"


def test_columns_are_as_wide_as_their_text_up_to_a_bound() -> None:
    found = sheet(made.row(station="x" * 30, cause="y" * 500))
    assert found.column_dimensions["A"].width == pytest.approx(32, abs=1)
    assert max(each.width for each in found.column_dimensions.values()) < 62


@pytest.mark.parametrize(
    "text", ["=1+1", '=HYPERLINK("http://example.invalid")', "http://example.invalid", "12", "@a"]
)
def test_text_is_text(text: str) -> None:
    found = cells(sheet(made.row(cause=text)))["cause"]
    assert (found.value, found.data_type, found.hyperlink) == (text, "s", None)


def test_what_is_unknown_is_empty_and_an_open_circuit_is_open() -> None:
    found = cells(sheet(made.UNKNOWN))
    assert found["lowest_ohm"].value == "open"
    assert [found[name].value for name in ("at", "share", "seconds", "count")] == [None] * 4


def test_a_control_character_does_not_spoil_the_sheet() -> None:
    assert cells(sheet(made.row(cause="a\x00b\x1bc")))["cause"].value is not None


def test_more_rows_than_a_sheet_holds_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(xlsx, "MOST_ROWS", 39)
    with pytest.raises(TooManyRowsError, match="40 rows are more than a sheet holds"):
        xlsx_file(made.report(made.table(*[made.row()] * 40)))


def test_the_same_report_has_the_same_bytes() -> None:
    first = xlsx_file(made.report(made.table(made.row())))
    assert xlsx_file(made.report(made.table(made.row()))) == first
    assert zipfile.ZipFile(io.BytesIO(first)).testzip() is None
