"""Tables of work windows and transfer tickets to plain rows."""

from __future__ import annotations

from collections.abc import Iterator
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from bondtrail.results import Ticket, WorkWindow
from bondtrail.site import Site
from bondtrail.times import format_time
from ingest.faults import Fault, FaultRows, shown
from ingest.header import Layout
from ingest.moments import read_times, time_fault
from ingest.tables import Table, Taken

Span = tuple[str, int, int]
"""Station, start and end."""


def take_work(table: Table, layout: Layout, site: Site, zone: ZoneInfo | None) -> Taken:
    """Return the work windows of a table with columns start, end, station and what."""
    taken = Taken(read=len(table.lines))
    what = _texts(table, layout, "what")
    taken.work = [
        WorkWindow(*span, what[row]) for row, span in _spans(table, layout, site, zone, taken)
    ]
    return taken


def take_tickets(table: Table, layout: Layout, site: Site, zone: ZoneInfo | None) -> Taken:
    """Return the tickets of a table with columns start, end, station and batch at least."""
    taken = Taken(read=len(table.lines))
    words = [_texts(table, layout, name) for name in ("batch", "product", "operator")]
    taken.tickets = [
        Ticket(*span, *(column[row] for column in words))
        for row, span in _spans(table, layout, site, zone, taken)
    ]
    return taken


def _spans(
    table: Table, layout: Layout, site: Site, zone: ZoneInfo | None, taken: Taken
) -> Iterator[tuple[int, Span]]:
    """Yield each good row with its span; the others become faults of ``taken``."""
    column = {name: table.columns[place] for name, place in layout.columns.items()}
    start, bad_start = read_times(column["start"], zone)
    end, bad_end = read_times(column["end"], zone)
    station = _texts(table, layout, "station")
    known = {each.id for each in site.stations}
    stranger = np.array([name not in known for name in station], bool)
    bad = np.zeros(len(station), bool)

    def start_reason(row: int) -> str:
        return f"start: {time_fault(_cell(column['start'], row), zone)}"

    def end_reason(row: int) -> str:
        return f"end: {time_fault(_cell(column['end'], row), zone)}"

    def span_reason(row: int) -> str:
        times = format_time(int(end[row])), format_time(int(start[row]))
        return "the end {} lies before the start {}".format(*times)

    def station_reason(row: int) -> str:
        return f"station {shown(station[row])} is not in the site file: expected the id of one"

    for fault, wrong, reason in (
        (Fault.TIME, bad_start, start_reason),
        (Fault.TIME, bad_end, end_reason),
        (Fault.SPAN, end < start, span_reason),
        (Fault.STATION, stranger, station_reason),
    ):
        rows = np.flatnonzero(wrong & ~bad)
        bad |= wrong
        if rows.size:
            taken.faults.append(FaultRows(fault, rows, reason))
    for row in np.flatnonzero(~bad):
        yield int(row), (station[row], int(start[row]), int(end[row]))


def _texts(table: Table, layout: Layout, name: str) -> list[str]:
    """Return a column as clean text; blank where the file has no such column."""
    if name not in layout.columns:
        return [""] * len(table.lines)
    column = pc.fill_null(table.columns[layout.columns[name]].cast(pa.string()), "")
    return [text.strip().replace("\0", "\\x00") for text in column.to_pylist()]


def _cell(column: pa.Array, row: int) -> str:
    value = column[row].as_py()
    return "" if value is None else str(value)
