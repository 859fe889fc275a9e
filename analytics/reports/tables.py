"""Tables of a report: rows in a data frame, and beside it what its columns mean.

Every format is written from the same frames, so that none can say something else than another.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any, Generic, Protocol, TypeVar
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from bondtrail.results import Severity

Row = TypeVar("Row")


class Sort(StrEnum):
    """What the cells of a column are, and so how each format writes them."""

    TEXT = "text"
    COUNT = "count"
    NUMBER = "number"
    SHARE = "share"
    SECONDS = "seconds"
    OHM = "ohm"
    TIME = "time"
    """A moment; a frame keeps it on the site's clock."""
    DAY = "day"


class Place(StrEnum):
    """Where a column or a table is shown."""

    EVERYWHERE = "everywhere"
    PAGE = "page"
    """On the page alone: a shortened form of what the data hold whole."""
    DATA = "data"
    """In spreadsheets and data files alone."""
    BELOW = "below"
    """On the page in a line of its own, below the rest of its row."""


class Derived(Protocol):
    """A figure as the core derives it: a share or a rate, with what stands behind it."""

    @property
    def value(self) -> float | None:
        """The figure itself; None where there is nothing to derive it from."""

    @property
    def low(self) -> float | None:
        """The lower end of its interval; None where it has none."""

    @property
    def high(self) -> float | None:
        """The upper end of its interval; None where it has none."""

    @property
    def count(self) -> float:
        """How many of it, or how much, there were."""

    @property
    def of(self) -> float:
        """Of how many, or over what."""


FIGURE_PARTS = ("low", "high", "count", "of")
"""What stands behind a figure, each in a column named after it and this."""


@dataclass(frozen=True, slots=True)
class Column(Generic[Row]):
    """One column: its name for programs, its heading for people, and how a row fills it.

    Behind a column that is a figure (``is_figure``) stand those of `FIGURE_PARTS`. ``marks`` says
    which texts tell something abnormal, and how bad that is; ``right`` that texts are numbers;
    ``missing`` is what the page says in the place of a cell that is not known.
    """

    name: str
    head: str
    read: Callable[[Row], Any]
    sort: Sort = Sort.TEXT
    unit: str = ""
    place: Place = Place.EVERYWHERE
    is_figure: bool = False
    right: bool = False
    missing: str = ""
    marks: Mapping[str, Severity] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Table:
    """A table: its rows, one column of the frame for each of ``columns``, and the words to it.

    Attributes
    ----------
    name : str
        Of the sheet, the file or the key; part of a file name.
    title, note : str
        Above and below it, for people.
    empty : str
        What is said in its place when it has no rows; without it nothing is.
    chart : str
        The drawing above it, a key of `analytics.reports.charts.DRAWINGS`.
    """

    name: str
    title: str
    columns: Sequence[Column[Any]]
    rows: pd.DataFrame
    note: str = ""
    empty: str = ""
    chart: str = ""
    place: Place = Place.EVERYWHERE

    @property
    def data_columns(self) -> list[Column[Any]]:
        """The columns of spreadsheets and data files: those of the page alone say it shorter."""
        return [column for column in self.columns if column.place is not Place.PAGE]


def figure(
    name: str,
    head: str,
    read: Callable[[Row], Derived],
    sort: Sort = Sort.SHARE,
    unit: str = "",
    *,
    count: Sort = Sort.COUNT,
    of: Sort = Sort.COUNT,
    place: Place = Place.EVERYWHERE,
) -> list[Column[Row]]:
    """Return the column of a figure, and those of its interval and of what it is so many of.

    ``count`` and ``of`` say what its count and its exposure are; ``place`` is that of the figure,
    the others are part of it on the page.
    """
    behind = {"low": sort, "high": sort, "count": count, "of": of}
    return [
        Column(name, head, lambda row: read(row).value, sort, unit, place, is_figure=True),
        *(
            _part(f"{name}_{part}", f"{head}, {part}", part, read, behind[part], unit)
            for part in FIGURE_PARTS
        ),
    ]


def _part(
    name: str, head: str, part: str, read: Callable[[Row], Derived], sort: Sort, unit: str
) -> Column[Row]:
    shown = unit if part in ("low", "high") else ""
    return Column(name, head, lambda row: getattr(read(row), part), sort, shown, Place.DATA)


def within(columns: Iterable[Column[Any]], inner: Callable[[Row], Any]) -> list[Column[Row]]:
    """Return columns for rows that hold the rows of others: ``inner`` takes them out."""

    def reader(read: Callable[[Any], Any]) -> Callable[[Row], Any]:
        return lambda row: read(inner(row))

    return [replace(column, read=reader(column.read)) for column in columns]


_NEVER = np.iinfo(np.int64).min
"""What NaT is in numbers."""


def frame(columns: Sequence[Column[Row]], rows: Iterable[Row], zone: ZoneInfo) -> pd.DataFrame:
    """Return the rows as a data frame with a column for each of ``columns``, in their order.

    Counts are nullable integers, figures floats with NaN for what is not known, moments (ns in,
    `pandas.Timestamp` out) are on the clock of ``zone``, texts and days plain objects.
    """
    listed = list(rows)
    made = {
        column.name: _cells(column.sort, [column.read(row) for row in listed], zone)
        for column in columns
    }
    return pd.DataFrame(made, columns=[column.name for column in columns])


def _cells(sort: Sort, values: list[Any], zone: ZoneInfo) -> Any:
    match sort:
        case Sort.COUNT:
            return pd.array(values, dtype="Int64")
        case Sort.TIME:
            moments = np.array([_NEVER if value is None else value for value in values], np.int64)
            return pd.DatetimeIndex(moments.view("datetime64[ns]"), tz="UTC").tz_convert(zone)
        case Sort.TEXT | Sort.DAY:
            return pd.Series(values, dtype=object)
        case _:
            return np.array([np.nan if value is None else value for value in values], float)
