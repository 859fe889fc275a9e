"""The p-chart of NIST/SEMATECH 6.3.3.2 as thirty weeks of transfers, in every kind of report."""

from __future__ import annotations

import csv
import datetime as dt
import html
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from tests.published.conftest import Recorded
from tests.published.historian import Historian
from tests.published.readings import (
    DAY,
    HOUR,
    MINUTE,
    Flaw,
    Reading,
    idle,
    moment,
    site_text,
    transfer,
)

# NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3.2: defective chips of 50 in each
# of 30 samples. It prints a centre line of .2313, limits of .0524 and .4103 (.41024 exactly), and
# samples 15 and 23 out of control.
DEFECTIVE = [
    12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22,
    8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6,
]  # fmt: skip
OF = 50
CENTRE, UPPER, LOWER = 0.2313333, 0.4102391, 0.0524276
OUTSIDE = [15, 23]

MONDAY = dt.date(2026, 1, 5)
FIRST, END = str(MONDAY), str(MONDAY + dt.timedelta(weeks=len(DEFECTIVE)))


def thirty_weeks() -> Iterator[Reading]:
    """Ten transfers a day from Monday to Friday, the first of each week not compliant."""
    begin = moment(f"{FIRST}T06:00")
    sorts = tuple(Flaw)
    yield from idle("bay", begin - HOUR)
    for week, defective in enumerate(DEFECTIVE):
        for n in range(OF):
            start = begin + (7 * week + n // 10) * DAY + n % 10 * 15 * MINUTE
            flaw = sorts[n % len(sorts)] if n < defective else None
            yield from transfer("bay", start, flaw=flaw)


@pytest.fixture(scope="module")
def told(historian_of: Recorded) -> Historian:
    return historian_of(site_text(["bay"], zone="Europe/Lisbon"), thirty_weeks())


def written(told: Historian, name: str) -> Path:
    path = told.folder / name
    outcome = told.run("report", "--from", FIRST, "--to", END, "--out", str(path))
    assert outcome.status == 0
    assert "holes" in outcome.err  # the transfers with a silent monitor are told of
    return path


@pytest.fixture(scope="module")
def weeks(told: Historian) -> list[dict[str, Any]]:
    tables = json.loads(written(told, "report.json").read_text(encoding="utf-8"))
    found: list[dict[str, Any]] = tables["weeks"]
    return found


def test_each_week_has_its_transfers(weeks: list[dict[str, Any]]) -> None:
    assert [row["not_compliant"] for row in weeks] == DEFECTIVE
    assert {row["transfers"] for row in weeks} == {OF}
    assert [row["week"] for row in weeks][:2] == ["2026-w02", "2026-w03"]


def test_the_centre_line_and_the_limits_are_those_printed(weeks: list[dict[str, Any]]) -> None:
    assert len(weeks) == len(DEFECTIVE)
    for row in weeks:
        assert row["centre"] == pytest.approx(CENTRE, abs=1e-7)
        assert row["upper"] == pytest.approx(UPPER, abs=1e-7)
        assert row["lower"] == pytest.approx(LOWER, abs=1e-7)


def test_the_samples_that_are_out_of_control_are_so(weeks: list[dict[str, Any]]) -> None:
    assert [n for n, row in enumerate(weeks, 1) if row["outside"]] == OUTSIDE
    assert {row["outside"] for row in weeks} == {"", "above its limit"}


def test_csv_says_the_same(told: Historian, weeks: list[dict[str, Any]]) -> None:
    path = written(told, "summary.csv").with_name("summary-weeks.csv")
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    for name in ("share", "centre", "lower", "upper"):
        assert [float(row[name]) for row in rows] == [row[name] for row in weeks]
    assert [row["outside"] for row in rows] == [row["outside"] for row in weeks]


def test_the_workbook_says_the_same(told: Historian, weeks: list[dict[str, Any]]) -> None:
    book = openpyxl.load_workbook(written(told, "report.xlsx"), read_only=True)
    head, *rows = (list(row) for row in book["weeks"].iter_rows(values_only=True))
    places = {str(name).split(" [")[0]: n for n, name in enumerate(head)}
    for name, key in (("Share", "share"), ("Centre line", "centre"), ("Upper limit", "upper")):
        assert [row[places[name]] for row in rows] == pytest.approx([row[key] for row in weeks])
    book.close()


def test_the_page_says_the_same(told: Historian) -> None:
    page = html.unescape(written(told, "report.html").read_text(encoding="utf-8"))
    rows = [
        [re.sub(r"<[^>]*>", "", cell).strip() for cell in re.findall(r"<td.*?</td>", row, re.S)]
        for row in re.findall(r"<tr.*?</tr>", page, re.S)
    ]
    weeks = [row for row in rows if row and re.fullmatch(r"2026-w\d\d", row[0])]
    assert len(weeks) == len(DEFECTIVE)
    assert [n for n, row in enumerate(weeks, 1) if "above its limit" in row[-1]] == OUTSIDE
    assert {row[6] for row in weeks} == {"23.1 %"}
    assert {(row[7], row[8]) for row in weeks} == {("5.2 %", "41.0 %")}


def test_show_kpis_counts_the_same_weeks(told: Historian) -> None:
    found = told.show("kpis", "--by", "week", "--from", FIRST, "--to", END)
    bad = [row["compliance"]["of"] - row["compliance"]["count"] for row in found]
    assert bad == DEFECTIVE
