"""Blocks of CSV text to columns, with the number of every line that makes no row."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from ingest.faults import Fault, RowArray
from ingest.header import Layout
from ingest.lines import Block

BoolArray = npt.NDArray[np.bool_]

_MANY_ODD_ROWS = 500  # beyond it, counting columns over the whole block is the quicker way
_BLANK = b' \t,;\r\n"'


@dataclass(frozen=True, slots=True)
class BadLines:
    """Lines of a block that make no row: their indices in it, rising, and why."""

    fault: Fault
    lines: RowArray


@dataclass(slots=True)
class Rows:
    """A block as columns of text; ``lines`` is the index in the block of each row."""

    columns: list[pa.Array]
    lines: RowArray
    count: int
    """Lines of the block, those without a row too."""
    bad: list[BadLines] = field(default_factory=list)


class _OddBlockError(Exception):
    """The block must be looked at line by line."""


def parse(block: Block, layout: Layout) -> Rows:
    """Return the columns of a block; blank lines are no rows and no fault.

    One row is one line: a quote that is not closed on its line spoils that line alone.
    """
    unreadable = _unreadable(block)
    data, kept = _without(block, unreadable)
    try:
        columns, odd = _quick(data, layout)
    except (_OddBlockError, pa.ArrowInvalid):
        columns, kept, bad = _careful(block, unreadable, layout)
    else:
        lines = len(columns[0]) + len(odd)
        kept = np.arange(lines) if kept is None else kept
        bad = _bad(block, {Fault.COLUMNS: kept[odd]})
        kept = np.delete(kept, odd) if odd else kept
    count = block.count if unreadable is not None or bad else len(kept)
    if unreadable is not None:
        bad = _bad(block, {Fault.ENCODING: np.flatnonzero(unreadable)}) + bad
    return _without_blank(Rows(columns, kept, count, bad))


def _quick(data: bytes, layout: Layout) -> tuple[list[pa.Array], list[int]]:
    """Return the columns and the indices of lines with a wrong number of them.

    Raises
    ------
    _OddBlockError
        If a quoted field swallowed a line break, or too many lines are wrong.
    pyarrow.ArrowInvalid
        If the parser cannot go on.
    """
    odd: list[int] = []

    def note(row: pacsv.InvalidRow) -> str:
        odd.append(row.number - 1)
        return "skip" if len(odd) <= _MANY_ODD_ROWS else "error"

    names = [str(place) for place in range(layout.width)]
    if not data:
        return [pa.array([], pa.string()) for _ in names], []
    quoted = b'"' in data
    table = pacsv.read_csv(
        pa.BufferReader(data),
        read_options=pacsv.ReadOptions(
            use_threads=False, block_size=len(data) + 1, column_names=names
        ),
        parse_options=pacsv.ParseOptions(
            delimiter=layout.delimiter,
            quote_char='"' if quoted else False,
            ignore_empty_lines=False,
            invalid_row_handler=note,
        ),
        convert_options=pacsv.ConvertOptions(
            column_types=dict.fromkeys(names, pa.string()),
            check_utf8=False,
            strings_can_be_null=False,
        ),
    )
    if quoted and table.num_rows + len(odd) != Block(data).count:
        raise _OddBlockError
    return [_one(column) for column in table.columns], odd


def _one(column: pa.ChunkedArray) -> pa.Array:
    if column.num_chunks == 1:
        return column.chunk(0)
    return pa.concat_arrays(column.chunks) if column.num_chunks else pa.array([], column.type)


def _careful(
    block: Block, unreadable: BoolArray | None, layout: Layout
) -> tuple[list[pa.Array], RowArray, list[BadLines]]:
    """Find the lines that spoil a block, and return the columns of the others."""
    left = np.ones(block.count, bool) if unreadable is None else ~unreadable
    unclosed, width = _shape(block, left, layout.delimiter)
    odd = left & ~unclosed & (width != layout.width)
    bad = _bad(
        block,
        {Fault.QUOTE: np.flatnonzero(unclosed & left), Fault.COLUMNS: np.flatnonzero(odd)},
    )
    data, kept = _without(block, ~left | unclosed | odd)
    columns, still_odd = _quick(data, layout)
    lines = np.flatnonzero(left & ~unclosed & ~odd) if kept is None else kept
    if still_odd:
        bad += _bad(block, {Fault.COLUMNS: lines[still_odd]})
    return columns, np.delete(lines, still_odd), bad


def _shape(block: Block, left: BoolArray, delimiter: str) -> tuple[BoolArray, RowArray]:
    """Return which lines have a quote that they do not close, and each line's columns."""
    text = np.frombuffer(block.data, np.uint8)
    commas = np.flatnonzero(text == ord(delimiter))
    width = np.histogram(commas, block.starts)[0] + 1
    unclosed = np.zeros(block.count, bool)
    quotes = np.flatnonzero(text == ord('"'))
    for line in np.unique(np.searchsorted(block.starts, quotes, side="right") - 1):
        if left[line]:
            fields = _fields(block.line(int(line), None).decode(), delimiter)
            unclosed[line], width[line] = fields is None, len(fields or ())
    return unclosed, width


def _fields(line: str, delimiter: str) -> list[str] | None:
    """Return the fields of one line, or None if it has a quote that it does not close."""
    try:
        return next(csv.reader([line], delimiter=delimiter, strict=True), [""])
    except csv.Error as exc:
        if "unexpected end" in str(exc):
            return None
    try:
        return next(csv.reader([line], delimiter=delimiter), [""])
    except csv.Error:  # a field beyond what the reader takes
        return []


def _unreadable(block: Block) -> BoolArray | None:
    """Return which lines are not UTF-8 or hold NUL bytes; None when all is well."""
    if b"\0" not in block.data:
        if block.data.isascii():
            return None
        try:
            block.data.decode()
        except UnicodeDecodeError:
            pass
        else:
            return None
    lines = block.data.removesuffix(b"\n").split(b"\n")
    return np.array([not _is_text(line) for line in lines], bool)


def _is_text(line: bytes) -> bool:
    try:
        line.decode()
    except UnicodeDecodeError:
        return False
    return b"\0" not in line


def _without(block: Block, dropped: BoolArray | None) -> tuple[bytes, RowArray | None]:
    """Return the text without some lines, and the indices of those that stay."""
    if dropped is None:
        return block.data, None
    starts = block.starts
    edges = np.flatnonzero(np.diff(np.concatenate(([True], dropped, [True]))))
    view = memoryview(block.data)
    runs = zip(starts[edges[::2]], starts[edges[1::2]], strict=True)
    return b"".join(view[begin:end] for begin, end in runs), np.flatnonzero(~dropped)


def _bad(block: Block, lines: dict[Fault, RowArray]) -> list[BadLines]:
    """Return the bad lines by fault; a line that holds nothing is none."""
    found = []
    for fault, each in lines.items():
        filled = [line for line in each.tolist() if block.line(line).strip(_BLANK)]
        if filled:
            found.append(BadLines(fault, np.array(filled, np.int64)))
    return found


def _without_blank(rows: Rows) -> Rows:
    blank = np.ones(len(rows.lines), bool)
    for column in rows.columns:
        blank &= pc.binary_length(column).to_numpy(zero_copy_only=False) == 0
        if not blank.any():
            return rows
    stay = pa.array(~blank)
    rows.columns = [column.filter(stay) for column in rows.columns]
    rows.lines = rows.lines[~blank]
    return rows
