"""A report as one page that stands alone: no script, no reference to anything outside it.

Everything that comes from outside is escaped by the template; the drawings are made here.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup

from analytics.reports import words
from analytics.reports.charts import DRAWINGS
from analytics.reports.report import CAUTIONS, Report
from analytics.reports.tables import FIGURE_PARTS, Column, Place, Sort, Table
from bondtrail.results import Severity
from bondtrail.times import local

SIGNS = {Severity.CRITICAL: "◆", Severity.MAJOR: "▲", Severity.MINOR: "●"}
"""Beside the word and the colour of what is abnormal."""

_UNREADABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")

FEW_ROWS = 8
"""A table of no more is kept on one page."""
SHORT_TEXT, LONG_WORD = 12, 22
"""Characters. A longer word would push its column off the page."""

_RIGHT = frozenset({Sort.COUNT, Sort.NUMBER, Sort.SHARE, Sort.SECONDS, Sort.OHM})


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: its text, the line below it, and how abnormal it is."""

    text: str
    beside: str = ""
    mark: str = ""
    sign: str = ""

    @property
    def wrap(self) -> str:
        """How it may be broken: a short text not at all, a long word anywhere."""
        if len(self.text) <= SHORT_TEXT:
            return "nowrap"
        return "long" if any(len(word) > LONG_WORD for word in self.text.split()) else ""


@dataclass(frozen=True, slots=True)
class Head:
    """The heading of a column."""

    text: str
    unit: str
    right: bool
    is_time: bool


@dataclass(frozen=True, slots=True)
class PageRow:
    """The cells of a row, and the named texts in the line below them."""

    cells: Sequence[Cell]
    below: Sequence[tuple[str, Cell]]


@dataclass(frozen=True, slots=True)
class PageTable:
    """A table as the template takes it."""

    title: str
    note: str
    empty: str
    drawing: Markup
    heads: Sequence[Head]
    rows: Sequence[PageRow]


def html_file(report: Report) -> bytes:
    """Return the content of the page: the same report gives the same bytes."""
    cover = report.cover
    made = words.site_time(local(cover.made, cover.zone))
    last = cover.last_reading
    text = _template().render(
        cover=cover,
        words=words,
        made=made,
        last_reading=None if last is None else words.site_time(local(last, cover.zone)),
        sections=[
            (section, [page_table(table) for table in section.tables if _is_shown(table)])
            for section in report.sections
        ],
        cautions=CAUTIONS,
        few_rows=FEW_ROWS,
        sign=SIGNS[Severity.MAJOR],
    )
    return text.encode()


@cache
def _template() -> Template:
    page = Environment(
        loader=PackageLoader("analytics.reports", "page"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
        finalize=_readable,
    )
    return page.get_template("report.html")


def _readable(value: Any) -> Any:
    """Return what is put into the page without characters that no page may hold or that turn text.

    A name from outside could otherwise be shown backwards.
    """
    if isinstance(value, str) and not isinstance(value, Markup):
        return _UNREADABLE.sub("\N{REPLACEMENT CHARACTER}", value)
    return value


def _is_shown(table: Table) -> bool:
    return table.place is not Place.DATA and bool(len(table.rows) or table.empty)


def page_table(table: Table) -> PageTable:
    """Return a table as the page shows it."""
    shown = [column for column in table.columns if column.place in _IN_LINE]
    below = [column for column in table.columns if column.place is Place.BELOW]
    lines = zip(*(_cells(table, column) for column in shown), strict=True)
    under = [list(_cells(table, column)) for column in below]
    return PageTable(
        table.title,
        table.note,
        table.empty,
        DRAWINGS[table.chart](table.rows) if table.chart and len(table.rows) else Markup(),
        [_head(column) for column in shown],
        [
            PageRow(
                cells,
                [
                    (column.head, texts[n])
                    for column, texts in zip(below, under, strict=True)
                    if texts[n].text
                ],
            )
            for n, cells in enumerate(lines)
        ],
    )


def _head(column: Column[Any]) -> Head:
    right = column.right or column.sort in _RIGHT
    return Head(column.head, _unit(column), right, column.sort is Sort.TIME)


_IN_LINE = (Place.EVERYWHERE, Place.PAGE)


def _unit(column: Column[Any]) -> str:
    """Return the unit in a heading; times, resistances and shares say theirs in each cell."""
    return column.unit if column.sort in (Sort.NUMBER, Sort.COUNT) else ""


def _cells(table: Table, column: Column[Any]) -> Iterator[Cell]:
    values = table.rows[column.name]
    show = words.SHOWN[column.sort]
    nothing = column.missing or ("" if column.sort is Sort.TEXT else words.NOTHING)
    for value, missing, beside in zip(values, values.isna(), _beside(table, column), strict=True):
        if missing:
            yield Cell(nothing, beside)
            continue
        severity = column.marks.get(value) if column.marks else None
        sign = SIGNS[severity] if severity else ""
        yield Cell(show(value), beside, str(severity or ""), sign)


def _beside(table: Table, column: Column[Any]) -> Iterable[str]:
    """Return what stands behind each figure of a column: its count, and its interval."""
    if not column.is_figure:
        return [""] * len(table.rows)
    sorts = {each.name: each.sort for each in table.columns}
    behind = {part: f"{column.name}_{part}" for part in FIGURE_PARTS}
    parts = (
        [None if math.isnan(value) else value for value in table.rows[name].astype(float)]
        for name in behind.values()
    )
    count, of = words.SHOWN[sorts[behind["count"]]], words.SHOWN[sorts[behind["of"]]]
    return [
        _figure_words(column.sort, low, high, f"{count(n)} of {of(whole)}") if whole else ""
        for low, high, n, whole in zip(*parts, strict=True)
    ]


def _figure_words(sort: Sort, low: float | None, high: float | None, behind: str) -> str:
    if low is None or high is None:
        return behind
    return f"{behind}, {words.interval(sort, low, high)}"
