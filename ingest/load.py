"""Files into the store: each is opened, told by its header, read in step and counted."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TypeVar
from zoneinfo import ZoneInfo

from bondtrail.site import Site
from ingest.errors import IngestError, Unreadable
from ingest.faults import RejectBook, shown
from ingest.header import HeaderError, Layout
from ingest.parquet import ParquetFile
from ingest.readings import Tags, check_wide, take_long, take_wide
from ingest.report import FileKind, FileReport, LoadReport, Progress
from ingest.sources import STDIN, Source, expand, open_source, size_of
from ingest.tables import Batch, Take
from ingest.text import TextFile
from ingest.windows import take_tickets, take_work
from store import Store, Written

T = TypeVar("T")
OnProgress = Callable[[Progress], None]

_AHEAD = 4
"""Steps that are read while earlier ones are being stored: what one commit takes."""


def load_files(
    store: Store,
    site: Site,
    paths: Iterable[str | Path],
    *,
    zone: ZoneInfo | None = None,
    now: int,
    progress: OnProgress | None = None,
) -> LoadReport:
    """Load CSV and Parquet files into the store.

    Parameters
    ----------
    store : Store
        Where readings, work windows, tickets and rejects go.
    site : Site
        Which tag is which point, and in which unit it reads.
    paths : iterable of str or Path
        Files, patterns, directories, and ``-`` for standard input. What a file holds is told
        by its content, not by its name.
    zone : ZoneInfo, optional
        Where times without an offset were written; without it such rows are rejected.
    now : int
        When this is, for the rejects. [ns]
    progress : callable, optional
        Called with a `Progress` after each step.

    Returns
    -------
    LoadReport
        The counts of each file. A file that could not be opened is in it with its error.

    Raises
    ------
    IngestError
        If not one of the files could be opened.
    StoreError
        If the store cannot take what was read. What it took before is kept.
    """
    names = expand(paths)
    sizes = [size_of(name) for name in names]
    total = None if None in sizes else sum(size or 0 for size in sizes)
    loader = _Loader(store, site, Tags(site), zone, now, progress, total)
    files = [loader.load(name) for name in names]
    failed = [Unreadable(file.name, file.error) for file in files if file.error is not None]
    if len(failed) == len(files):
        raise IngestError(failed)
    return LoadReport(tuple(files))


@dataclass(slots=True)
class _Loader:
    store: Store
    site: Site
    tags: Tags
    zone: ZoneInfo | None
    now: int
    progress: OnProgress | None
    total: int | None
    done: int = 0
    rows: int = 0

    def load(self, path: str) -> FileReport:
        try:
            source = open_source(path)
        except OSError as exc:
            return FileReport(path, error=_why(path, exc))
        try:
            return self._load(path, source)
        finally:
            self.done += source.consumed
            source.close()

    def _load(self, path: str, source: Source) -> FileReport:
        report = FileReport(source.name)
        book = RejectBook(source.name, self.now)
        file = self._open(path, source, book)
        if file.refusal is None and file.layout is not None:
            try:
                take = self._take(file.layout)
            except HeaderError as exc:
                file.refusal = book.whole_file(1, str(exc), ",".join(file.layout.names))
            else:
                report.kind = file.layout.kind
                report.notes += _unread_columns(file.layout)
                self._store(file.batches(take), source, report)
        rejects = [file.refusal] if file.refusal else []
        self.store.put_rejects(rejects + book.close())
        report.read += len(rejects)
        report.rejected = book.rejected
        if not report.read:
            report.notes.append("empty" if file.is_empty else "a header and no rows")
        return report

    def _open(self, path: str, source: Source, book: RejectBook) -> TextFile | ParquetFile:
        if source.is_parquet and path != STDIN:
            return ParquetFile(path, book)
        return TextFile(source, book)

    def _take(self, layout: Layout) -> Take:
        if layout.kind is FileKind.WORK:
            return partial(take_work, layout=layout, site=self.site, zone=self.zone)
        if layout.kind is FileKind.BATCH:
            return partial(take_tickets, layout=layout, site=self.site, zone=self.zone)
        if layout.kind is FileKind.WIDE:
            check_wide(layout, self.tags)
            return partial(take_wide, layout=layout, tags=self.tags, zone=self.zone)
        return partial(take_long, layout=layout, tags=self.tags, zone=self.zone)

    def _store(self, batches: Iterator[Batch], source: Source, report: FileReport) -> None:
        with self.store.bulk() as bulk:
            for batch in ahead(batches, _AHEAD):
                for point, samples in batch.samples:
                    bulk.add(point, samples)
                self._keep(batch, report)
                report.read += batch.read
                self.rows += batch.read
                self._tell(source)
        _count(report, bulk.written)

    def _keep(self, batch: Batch, report: FileReport) -> None:
        """Store all but the samples."""
        if batch.rejects:
            self.store.put_rejects(batch.rejects)
        if batch.work:
            _count(report, self.store.put_work(batch.work))
        if batch.tickets:
            _count(report, self.store.put_tickets(batch.tickets))

    def _tell(self, source: Source) -> None:
        if self.progress:
            read = self.done + source.consumed
            self.progress(Progress(source.name, read, self.total, self.rows))


def ahead(steps: Iterator[T], depth: int) -> Iterator[T]:
    """Yield the steps in order while up to ``depth`` further ones are made in a thread."""
    end = object()
    with ThreadPoolExecutor(1, "read-ahead") as pool:
        pending: deque[Future[object]] = deque()
        while True:
            while len(pending) < depth:
                pending.append(pool.submit(next, steps, end))
            step = pending.popleft().result()
            if step is end:
                return
            yield step  # type: ignore[misc]


def _count(report: FileReport, written: Written) -> None:
    report.new += written.new
    report.repeated += written.repeated
    report.replaced += written.replaced


def _unread_columns(layout: Layout) -> list[str]:
    """Return a note on columns that have a name and are not read."""
    if layout.kind is FileKind.WIDE:
        return []
    names = [layout.names[place] for place in layout.others if layout.names[place]]
    if not names:
        return []
    return [f"not read: column {', '.join(map(shown, names[:5]))}"]


def _why(path: str, exc: OSError) -> str:
    if isinstance(exc, FileNotFoundError):
        return "no such file"
    if isinstance(exc, PermissionError):
        return "may not be read: ask for the right to read it"
    if isinstance(exc, IsADirectoryError):
        return "a directory with no CSV or Parquet file in it"
    return exc.strerror or str(exc)
