"""Parquet files with the columns of the CSV ones, read a few rows at a time."""

from __future__ import annotations

from collections.abc import Generator, Iterator
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from bondtrail.results import Reject
from ingest.faults import RejectBook, shown
from ingest.header import HeaderError, Layout, layout_of_names
from ingest.moments import is_time_type
from ingest.report import FileKind
from ingest.tables import Batch, Table, Take, settle
from ingest.values import is_value_type

_CELLS = 1 << 20
"""Cells read at once."""


class ParquetFile:
    """A Parquet file under way; ``refusal`` stands for the whole of one that cannot be read."""

    def __init__(self, path: str, book: RejectBook) -> None:
        self._book = book
        self._row = 1
        book.unit = "row"
        self.is_empty = False
        self.layout: Layout | None = None
        self.refusal: Reject | None = None
        self._size = Path(path).stat().st_size
        self._file: pq.ParquetFile | None = None
        try:
            self._file = pq.ParquetFile(Path(path), buffer_size=1 << 20)
            self.layout = _layout(self._file.schema_arrow)
        except (HeaderError, pa.ArrowException, OSError) as exc:
            reason = str(exc) if isinstance(exc, HeaderError) else f"damaged Parquet: {_line(exc)}"
            self.refusal = book.whole_file(1, reason, b"")

    def batches(self, take: Take) -> Generator[Batch, None, None]:
        """Yield what ``take`` makes of each few rows."""
        assert self._file is not None
        assert self.layout is not None
        steps = self._file.iter_batches(
            batch_size=max(1, _CELLS // self.layout.width), use_threads=False
        )
        while True:
            try:
                rows = next(steps, None)
                columns = None if rows is None else [_plain(each) for each in rows.columns]
            except (pa.ArrowException, OSError) as exc:
                yield self._broken(_line(exc))
                return
            if columns is None:
                return
            yield self._batch(columns, take)

    def _batch(self, columns: list[pa.Array], take: Take) -> Batch:
        first, count = self._row, len(columns[0])
        self._row += count
        table = Table(
            columns,
            np.arange(first, first + count),
            lambda row: ",".join(str(column[row].as_py()) for column in columns[:64]),
        )
        return settle(table, take(table), self._book)

    def _broken(self, reason: str) -> Batch:
        told = f"damaged Parquet: {reason}: what follows here is missing; copy the file again"
        return Batch(1, rejects=[self._book.whole_file(self._row, told, b"")])

    @property
    def consumed(self) -> int:
        """Bytes of the file that the rows read so far stand for."""
        rows = self._file.metadata.num_rows if self._file else 0
        return self._size * min(self._row - 1, rows) // rows if rows else self._size

    def close(self) -> None:
        """Close the file."""
        if self._file:
            self._file.close()


def _layout(schema: pa.Schema) -> Layout:
    layout = layout_of_names(schema.names)
    for place, name in _places(layout):
        kind = _plain_type(schema.field(place).type)
        fits, expected = _FITTING.get(name, (_is_word_type, "text or whole numbers"))
        if not fits(kind):
            raise HeaderError(
                f"column {shown(schema.names[place])} is of type {kind}: expected {expected}"
            )
    return layout


def _places(layout: Layout) -> Iterator[tuple[int, str]]:
    """Yield the columns that are read, each with the name of what it must hold."""
    yield from ((place, name) for name, place in layout.columns.items())
    if layout.kind is FileKind.WIDE:
        yield from ((place, "value") for place in layout.others)


def _is_word_type(kind: pa.DataType) -> bool:
    return bool(pa.types.is_string(kind) or pa.types.is_integer(kind))


_TIME = (is_time_type, "a timestamp, text or an integer epoch")
_VALUE = (is_value_type, "numbers or text")
_FITTING = {"time": _TIME, "start": _TIME, "end": _TIME, "value": _VALUE, "quality": _VALUE}


def _plain_type(kind: pa.DataType) -> pa.DataType:
    """Return the type that a column of this type is read as."""
    if pa.types.is_dictionary(kind):
        kind = kind.value_type
    if pa.types.is_large_string(kind) or pa.types.is_string_view(kind):
        return pa.string()
    return kind


def _plain(column: pa.Array) -> pa.Array:
    kind = _plain_type(column.type)
    return column if kind == column.type else column.cast(kind)


def _line(exc: BaseException) -> str:
    return str(exc).splitlines()[0] if str(exc) else type(exc).__name__
