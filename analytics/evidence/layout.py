"""The parts that the page of a package is made of, before they are HTML."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from markupsafe import Markup

from analytics.evidence.words import Clock


class Width(StrEnum):
    """How wide a column is: on paper all of a table must fit, whatever its cells hold."""

    TIME = "time"
    """A time of day to the millisecond, on one line."""
    MOMENT = "moment"
    """The same with its date."""
    SHORT = "short"
    """A figure with its unit."""
    WORD = "word"
    COUNT = "count"
    NAME = "name"
    """A few words."""
    LABEL = "label"
    """Some words."""
    REST = "rest"
    """An equal part of what the others leave."""
    DIGEST = "digest"


@dataclass(frozen=True, slots=True)
class Column:
    """The heading of a column, and how wide it is."""

    head: str
    width: Width = Width.REST


@dataclass(frozen=True, slots=True)
class Row:
    """The cells of a row, and what marks it; one alone goes across the table."""

    cells: Sequence[str]
    mark: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under headings."""

    columns: Sequence[Column]
    rows: Sequence[Row]
    title: str = ""


@dataclass(frozen=True, slots=True)
class Listing:
    """Sentences under a title."""

    title: str
    items: Sequence[str]


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the page, in the order of its fields."""

    title: str
    text: Sequence[str] = ()
    lists: Sequence[Listing] = ()
    drawings: Sequence[Markup] = ()
    tables: Sequence[Table] = ()
    notes: Sequence[Listing] = ()


FACTS = (Column("What", Width.LABEL), Column("On record"))


def by_day(clock: Clock, rows: Iterable[tuple[str, Row]]) -> Iterator[Row]:
    """Yield rows, each given with its moment, with a row of the date before those of each day."""
    day = ""
    for utc, row in rows:
        if (here := clock.day(utc)) != day:
            day = here
            yield Row((f"On {day}",), "day")
        yield row
