"""What the adapters hand on: columns with line numbers in, readings and faults out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import TypeVar

import pyarrow as pa

from bondtrail.results import Reject, Ticket, WorkWindow
from bondtrail.samples import Samples
from ingest.faults import FaultRows, RejectBook, RowArray


@dataclass(frozen=True, slots=True)
class Table:
    """Some rows of a file.

    ``lines`` are their numbers, shape (n,): in the file, from 1, when faults are settled; while
    the table is being taken perhaps only in their block. ``raw`` returns the text of a row by
    its index here.
    """

    columns: list[pa.Array]
    lines: RowArray
    raw: Callable[[int], bytes | str]


@dataclass(frozen=True, slots=True)
class UnknownTag:
    """A tag that the site file does not know: its first row here, and how many there are."""

    tag: str
    row: int
    count: int


@dataclass(slots=True)
class Taken:
    """What a table holds: ``read`` counts what was taken and what was not."""

    read: int = 0
    samples: list[tuple[str, Samples]] = field(default_factory=list)
    work: list[WorkWindow] = field(default_factory=list)
    tickets: list[Ticket] = field(default_factory=list)
    faults: list[FaultRows] = field(default_factory=list)
    unknown: list[UnknownTag] = field(default_factory=list)


@dataclass(slots=True)
class Batch:
    """What one step through a file adds to the store."""

    read: int = 0
    samples: list[tuple[str, Samples]] = field(default_factory=list)
    work: list[WorkWindow] = field(default_factory=list)
    tickets: list[Ticket] = field(default_factory=list)
    rejects: list[Reject] = field(default_factory=list)


T = TypeVar("T")
Take = Callable[[Table], Taken]


def settle(table: Table, taken: Taken, book: RejectBook) -> Batch:
    """Return what was taken from a table, with its faults entered in the file's book."""
    rejects = []
    for fault in taken.faults:
        rejects += book.rows(
            fault.fault,
            table.lines[fault.rows],
            partial(_of_row, fault.reason, fault.rows),
            partial(_of_row, table.raw, fault.rows),
            partial(_of_row, fault.about, fault.rows),
        )
    for unknown in taken.unknown:
        book.tag(unknown.tag, int(table.lines[unknown.row]), unknown.count, table.raw(unknown.row))
    return Batch(taken.read, taken.samples, taken.work, taken.tickets, rejects)


def _of_row(ask: Callable[[int], T], rows: RowArray, index: int) -> T:
    return ask(int(rows[index]))
