"""Blocks of CSV text to columns, with the number of every line that makes no row."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv

from ingest.arrays import BoolArray, as_mask
from ingest.faults import RAW_BYTES, Fault, RowArray
from ingest.header import Layout
from ingest.lines import Block
from ingest.moments import text_lengths

_MANY_ODD_LINES = 500  # beyond it, counting columns over the whole block is the quicker way
_BLANK = b' \t,;\r\n"'


@dataclass(frozen=True, slots=True)
class BadLine:
    """A line of a block that makes no row: its index in it, why, its columns and its text."""

    line: int
    fault: Fault
    width: int
    text: bytes


@dataclass(slots=True)
class Rows:
    """A block as columns of text; ``lines`` is the index in the block of each row."""

    columns: list[pa.Array]
    lines: RowArray
    count: int
    """Lines of the block, those without a row too."""
    quoted: bool
    bad: list[BadLine] = field(default_factory=list)


class _OddBlockError(Exception):
    """The block must be looked at line by line."""


@dataclass(slots=True)
class _OddLines:
    """Lines with a wrong number of columns, as the parser tells of them."""

    delimiter: bytes
    lines: list[int] = field(default_factory=list)
    bad: list[BadLine] = field(default_factory=list)

    def note(self, row: pacsv.InvalidRow) -> str:
        text = row.text.encode("utf-8", "surrogateescape")
        self.lines.append(row.number - 1)
        if text.strip(_BLANK):
            closed = _width(text, self.delimiter) is not None
            fault = Fault.COLUMNS if closed else Fault.QUOTE
            self.bad.append(BadLine(row.number - 1, fault, row.actual_columns, text[:RAW_BYTES]))
        return "skip" if len(self.lines) <= _MANY_ODD_LINES else "error"


def parse(block: Block, layout: Layout) -> Rows:
    """Return the columns of a block; blank lines are no rows and no fault.

    One row is one line: a quote that is not closed on its line spoils that line alone.
    """
    unreadable = _unreadable(block)
    if unreadable is None:
        try:
            return _without_blank(_parse_clean(block, layout))
        except (_OddBlockError, pa.ArrowInvalid):
            unreadable = np.zeros(block.count, bool)
    return _without_blank(_parse_odd(block, unreadable, layout))


def _parse_clean(block: Block, layout: Layout) -> Rows:
    """Parse a block at once; its lines are never counted, which would cost as much again."""
    odd = _OddLines(layout.delimiter.encode())
    columns = _columns(block.data, layout, odd)
    count = len(columns[0]) + len(odd.lines)
    quoted = b'"' in block.data
    if quoted and count != block.count:
        raise _OddBlockError
    lines = np.arange(count)
    lines = np.delete(lines, odd.lines) if odd.lines else lines
    return Rows(columns, lines, count, quoted, odd.bad)


def _columns(data: bytes, layout: Layout, odd: _OddLines) -> list[pa.Array]:
    """Return the columns of some lines, and note those with a wrong number of them.

    Raises
    ------
    pyarrow.ArrowInvalid
        If the parser cannot go on, or too many lines are wrong.
    """
    names = [str(place) for place in range(layout.width)]
    if not data:
        return [pa.array([], pa.string()) for _ in names]
    table = pacsv.read_csv(
        pa.BufferReader(data),
        read_options=pacsv.ReadOptions(
            use_threads=False, block_size=len(data) + 1, column_names=names
        ),
        parse_options=pacsv.ParseOptions(
            delimiter=layout.delimiter,
            quote_char='"' if b'"' in data else False,
            ignore_empty_lines=False,
            invalid_row_handler=odd.note,
        ),
        convert_options=pacsv.ConvertOptions(
            column_types=dict.fromkeys(names, pa.string()),
            check_utf8=False,
            strings_can_be_null=False,
        ),
    )
    return [_one(column) for column in table.columns]


def _one(column: pa.ChunkedArray) -> pa.Array:
    if column.num_chunks == 1:
        return column.chunk(0)
    return pa.concat_arrays(column.chunks) if column.num_chunks else pa.array([], column.type)


def _parse_odd(block: Block, unreadable: BoolArray, layout: Layout) -> Rows:
    """Find the lines that spoil a block, and parse the others."""
    unclosed, width = _shape(block, ~unreadable, layout.delimiter.encode())
    odd = ~unreadable & ~unclosed & (width != layout.width)
    data, kept = _without(block, unreadable | unclosed | odd)
    columns = _columns(data, layout, _OddLines(layout.delimiter.encode()))
    bad = [
        BadLine(line, fault, int(width[line]), block.line(line))
        for fault, found in (
            (Fault.ENCODING, unreadable),
            (Fault.QUOTE, unclosed),
            (Fault.COLUMNS, odd),
        )
        for line in np.flatnonzero(found).tolist()
        if block.line(line).strip(_BLANK)
    ]
    return Rows(columns, kept, block.count, True, bad)


def _shape(block: Block, left: BoolArray, delimiter: bytes) -> tuple[BoolArray, RowArray]:
    """Return which lines have a quote that they do not close, and each line's columns."""
    text = np.frombuffer(block.data, np.uint8)
    width = np.histogram(np.flatnonzero(text == ord(delimiter)), block.starts)[0] + 1
    unclosed = np.zeros(block.count, bool)
    quotes = np.flatnonzero(text == ord('"'))
    for line in np.unique(np.searchsorted(block.starts, quotes, side="right") - 1):
        if left[line]:
            fields = _width(block.line(int(line), None), delimiter)
            unclosed[line], width[line] = fields is None, fields or 0
    return unclosed, width


def _width(line: bytes, delimiter: bytes) -> int | None:
    """Return how many fields a line has, or None if it has a quote that it does not close.

    A quote counts where a field begins with it, and inside such a field when it is doubled.
    """
    fields, at = 1, 0
    while True:
        if line[at : at + 1] == b'"':
            at = _closed(line, at + 1)
            if at < 0:
                return None
        at = line.find(delimiter, at) + 1
        if not at:
            return fields
        fields += 1


def _closed(line: bytes, at: int) -> int:
    """Return the place after the quote that closes, or -1."""
    while True:
        at = line.find(b'"', at) + 1
        if not at:
            return -1
        if line[at : at + 1] != b'"':
            return at
        at += 1


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


def _without(block: Block, dropped: BoolArray) -> tuple[bytes, RowArray]:
    """Return the text without some lines, and the indices of those that stay."""
    starts = block.starts
    edges = np.flatnonzero(np.diff(np.concatenate(([True], dropped, [True]))))
    view = memoryview(block.data)
    runs = zip(starts[edges[::2]], starts[edges[1::2]], strict=True)
    return b"".join(view[begin:end] for begin, end in runs), np.flatnonzero(~dropped)


def _without_blank(rows: Rows) -> Rows:
    blank = np.ones(len(rows.lines), bool)
    for column in rows.columns:
        blank &= text_lengths(column) == 0
        if not blank.any():
            return rows
    stay = as_mask(~blank)
    rows.columns = [column.filter(stay) for column in rows.columns]
    rows.lines = rows.lines[~blank]
    return rows


def text_of(rows: Rows, block: Block, delimiter: str, row: int) -> str | bytes:
    """Return the text of a row: put together again if that gives the line as it was."""
    if rows.quoted:
        return block.line(int(rows.lines[row]))
    return delimiter.join(column[row].as_py() for column in rows.columns)
