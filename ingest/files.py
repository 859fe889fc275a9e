"""A file of any kind, opened: what its header tells decides how its rows are taken."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing, contextmanager
from functools import partial
from zoneinfo import ZoneInfo

from ingest.faults import RejectBook
from ingest.header import Layout
from ingest.parquet import ParquetFile
from ingest.readings import Tags, check_wide, take_long, take_wide
from ingest.report import FileKind
from ingest.sources import STDIN, Source, open_source
from ingest.tables import Take
from ingest.text import TextFile

InputFile = TextFile | ParquetFile


@contextmanager
def opened(path: str, now: int) -> Iterator[tuple[Source, RejectBook, InputFile]]:
    """Open a file and read its header; its rejects are dated ``now``, in ns.

    Raises
    ------
    OSError
        If it cannot be opened.
    """
    with closing(open_source(path)) as source:
        # By its path: daily folders hold files of one name, and each keeps its own rejects.
        book = RejectBook(source.name if path == STDIN else path, now)
        with closing(_input(path, source, book)) as file:
            yield source, book, file


def _input(path: str, source: Source, book: RejectBook) -> InputFile:
    if source.is_parquet and path != STDIN:
        return ParquetFile(path, book)
    return TextFile(source, book)


def taker_of_readings(layout: Layout, tags: Tags, zone: ZoneInfo | None) -> Take:
    """Return what takes the rows of a long or wide file of readings.

    Raises
    ------
    HeaderError
        If two columns of a wide one are one point.
    """
    if layout.kind is FileKind.WIDE:
        check_wide(layout, tags)
        return partial(take_wide, layout=layout, tags=tags, zone=zone)
    return partial(take_long, layout=layout, tags=tags, zone=zone)


def why_closed(exc: OSError) -> str:
    """Return why a path could not be opened, and what to do."""
    if isinstance(exc, FileNotFoundError):
        return "no such file"
    if isinstance(exc, PermissionError):
        return "may not be read: ask for the right to read it"
    if isinstance(exc, IsADirectoryError):
        return "a directory with no CSV or Parquet file in it"
    return exc.strerror or str(exc)
