"""CSV files: the header, then block after block, and whatever is no row of either."""

from __future__ import annotations

from collections.abc import Generator, Iterator
from contextlib import closing
from dataclasses import replace
from functools import partial
from itertools import chain

from bondtrail.results import Reject
from ingest.ahead import side_by_side
from ingest.faults import RAW_BYTES, Fault, RejectBook
from ingest.header import HeaderError, Layout, layout_of_line
from ingest.lines import LONGEST_LINE, Block, Broken, LongLine, Part, split
from ingest.rows import BadLine, Rows, parse, text_of
from ingest.sources import Source, known_form
from ingest.tables import Batch, Table, Take, Taken, settle

_SNIFFED = 1 << 16
"""Bytes at the beginning in which a NUL means that this is no text."""
_BOM = b"\xef\xbb\xbf"


class TextFile:
    """A CSV file under way: its layout once the header is read, and the line it has come to.

    ``refusal`` is the reject that stands for the whole file when its header tells nothing.
    """

    def __init__(self, source: Source, book: RejectBook) -> None:
        self._source = source
        self._book = book
        self._parts: Iterator[Part] = split(source.read)
        self._line = 1
        self.is_empty = False
        self.layout: Layout | None = None
        self.refusal: Reject | None = None
        try:
            self._read_header()
        except HeaderError as exc:
            self.refusal = book.whole_file(self._line, str(exc), self._head)

    def batches(self, take: Take) -> Generator[Batch, None, None]:
        """Yield what ``take`` makes of each block, and the rejects of lines that make no row.

        Blocks are taken side by side, so ``take`` cannot tell by its table's lines where in the
        file it is: they begin at 0 in each block.
        """
        assert self.layout is not None
        taking = side_by_side(partial(_take_part, self.layout, take), self._parts)
        with closing(taking) as parts:
            for part, taken in parts:
                if not isinstance(part, Block):
                    yield self._oddity(part)
                elif taken is not None:
                    yield self._batch(*taken, self.layout)
                else:
                    self._line += part.count
                    yield Batch()

    @property
    def consumed(self) -> int:
        """Bytes taken from the disk so far."""
        return self._source.consumed

    def close(self) -> None:
        """Do nothing: who opened the source closes it."""

    def _read_header(self) -> None:
        self._head = b""
        part = self._first_filled()
        if part is None:
            self.is_empty = True
            return
        self._head = (
            part.data[:RAW_BYTES].partition(b"\n")[0] if isinstance(part, Block) else part.head
        )
        _refuse_other_forms(part.data if isinstance(part, Block) else part.head)
        if isinstance(part, Broken):
            raise HeaderError(f"{part.reason}: copy it again from where it comes from")
        if isinstance(part, LongLine):
            raise HeaderError(f"the first line is longer than {LONGEST_LINE} bytes: no header")
        line, _, rest_of_it = part.data.partition(b"\n")
        layout = layout_of_line(line.rstrip(b"\r"))
        self._line += 1
        first = Block(rest_of_it) if rest_of_it else next(self._parts, None)
        self.layout = _with_last_column(layout, first)
        if first is not None:
            self._parts = chain([first], self._parts)

    def _first_filled(self) -> Part | None:
        """Return the first part that is not blank, from its first filled line on."""
        for part in self._parts:
            if not isinstance(part, Block):
                return part
            data = part.data.removeprefix(_BOM) if self._line == 1 else part.data
            filled = len(data) - len(data.lstrip(b" \t\r\n"))
            if filled < len(data):
                begin = data.rfind(b"\n", 0, filled) + 1
                self._line += data.count(b"\n", 0, begin)
                return Block(data[begin:])
            self._line += data.count(b"\n")
        return None

    def _batch(self, rows: Rows, table: Table, taken: Taken, layout: Layout) -> Batch:
        first = self._line
        self._line += rows.count
        batch = settle(replace(table, lines=table.lines + first), taken, self._book)
        batch.read += len(rows.bad)
        for bad in rows.bad:
            reason = _line_reason(bad, layout)
            batch.rejects += self._book.row(bad.fault, first + bad.line, reason, bad.text)
        return batch

    def _oddity(self, part: LongLine | Broken) -> Batch:
        if isinstance(part, Broken):
            reason = f"{part.reason}: what follows here is missing; copy the file again"
            return Batch(1, rejects=[self._book.whole_file(self._line, reason, part.head)])
        reason = f"the line is longer than {LONGEST_LINE} bytes"
        if part.gave_up:
            reason += f" and had no end after {part.size}: the rest of the file is not read"
            return Batch(1, rejects=[self._book.whole_file(self._line, reason, part.head)])
        rejects = self._book.row(Fault.LONG_LINE, self._line, reason, part.head)
        self._line += 1
        return Batch(1, rejects=rejects)


def _take_part(
    layout: Layout, take: Take, part: Part
) -> tuple[Part, tuple[Rows, Table, Taken] | None]:
    """Return a part and, if it is a block that is not all blank, what it holds."""
    if not isinstance(part, Block) or part.data.isspace():
        return part, None
    rows = parse(part, layout)
    table = Table(rows.columns, rows.lines, partial(text_of, rows, part, layout.delimiter))
    return part, (rows, table, take(table))


def _refuse_other_forms(data: bytes) -> None:
    form = known_form(data)
    if data.startswith(b"PAR1"):
        form = "Parquet inside another compression: unpack it first"
    if form:
        raise HeaderError(f"the file is {form}")
    if b"\0" in data[:_SNIFFED]:
        raise HeaderError("the file is binary, not CSV text or Parquet")


def _with_last_column(layout: Layout, first: Part | None) -> Layout:
    """Return a layout with one more, nameless column if the first row ends with a delimiter."""
    if not isinstance(first, Block):
        return layout
    line = first.data.partition(b"\n")[0].rstrip(b"\r")
    mark = layout.delimiter.encode()
    if line.count(mark) != layout.width or not line.rstrip(b" ").endswith(mark):
        return layout
    others = (*layout.others, layout.width)
    return Layout(layout.kind, (*layout.names, ""), layout.columns, others, layout.delimiter)


def _line_reason(bad: BadLine, layout: Layout) -> str:
    if bad.fault is Fault.QUOTE:
        return "a quote is opened and not closed: a row ends with its line"
    if bad.fault is Fault.ENCODING:
        return "the line is not UTF-8 text: save the file as UTF-8"
    return f"{bad.width} columns, but the header has {layout.width}"
