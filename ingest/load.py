"""Files into the store: each is opened, told by its header, read in step and counted."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import ExitStack, closing
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

from bondtrail.results import Reject
from bondtrail.site import Site
from ingest.ahead import ahead
from ingest.errors import IngestError, Unreadable
from ingest.faults import RejectBook, shown
from ingest.files import InputFile, opened, taker_of_readings, why_closed
from ingest.header import HeaderError, Layout
from ingest.readings import Tags
from ingest.report import FileKind, FileReport, LoadReport, Progress
from ingest.sources import expand, size_of
from ingest.tables import Batch, Take
from ingest.windows import take_tickets, take_work
from store import Store, Written

OnProgress = Callable[[Progress], None]
Clock = Callable[[], int]

_AHEAD = 6
"""Steps that are read while earlier ones are being stored."""
_MANY_REJECTS = 1_000
"""Rejects to store at once: while reading goes on, rather than when all is read."""


def load_files(
    store: Store,
    site: Site,
    paths: Iterable[str | Path],
    *,
    zone: ZoneInfo | None = None,
    now: int,
    clock: Clock | None = None,
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
    clock : callable, optional
        Tells the time, in ns, as readings are stored: that is when they arrived. Without it all
        arrive at ``now``.
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
    loader = _Loader(store, site, Tags(site), zone, now, clock or (lambda: now), progress, total)
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
    clock: Clock
    progress: OnProgress | None
    total: int | None
    done: int = 0
    rows: int = 0

    def load(self, path: str) -> FileReport:
        with ExitStack() as stack:
            try:
                source, book, file = stack.enter_context(opened(path, self.now))
            except OSError as exc:
                return FileReport(path, error=why_closed(exc))
            report = self._load(source.name, file, book)
            self.done += file.consumed
        return report

    def _load(self, name: str, file: InputFile, book: RejectBook) -> FileReport:
        report = FileReport(name)
        if file.refusal is None and file.layout is not None:
            try:
                take = self._take(file.layout)
            except HeaderError as exc:
                file.refusal = book.whole_file(1, str(exc), ",".join(file.layout.names))
            else:
                report.kind = file.layout.kind
                report.notes += _unread_columns(file.layout)
                self._store(file, take, report)
        refusals = [file.refusal] if file.refusal else []
        self.store.put_rejects(refusals + book.close())
        report.read += len(refusals)
        report.rejected = book.rejected
        if not report.read:
            report.notes.append("empty" if file.is_empty else "a header and no rows")
        return report

    def _take(self, layout: Layout) -> Take:
        if layout.kind is FileKind.WORK:
            return partial(take_work, layout=layout, site=self.site, zone=self.zone)
        if layout.kind is FileKind.BATCH:
            return partial(take_tickets, layout=layout, site=self.site, zone=self.zone)
        return taker_of_readings(layout, self.tags, self.zone)

    def _store(self, file: InputFile, take: Take, report: FileReport) -> None:
        rejects: list[Reject] = []
        with (
            closing(ahead(file.batches(take), _AHEAD)) as steps,
            self.store.bulk(arrived=self.clock) as bulk,
        ):
            for batch in steps:
                for point, samples in batch.samples:
                    bulk.add(point, samples)
                self._keep(batch, report)
                rejects = self._rejects_left(rejects + batch.rejects)
                report.read += batch.read
                self.rows += batch.read
                self._tell(report.name, file)
        self.store.put_rejects(rejects)
        _count(report, bulk.written)

    def _keep(self, batch: Batch, report: FileReport) -> None:
        if batch.work:
            _count(report, self.store.put_work(batch.work))
        if batch.tickets:
            _count(report, self.store.put_tickets(batch.tickets))

    def _rejects_left(self, rejects: list[Reject]) -> list[Reject]:
        """Store rejects once there are many; return those that wait for more."""
        if len(rejects) < _MANY_REJECTS:
            return rejects
        self.store.put_rejects(rejects)
        return []

    def _tell(self, name: str, file: InputFile) -> None:
        if self.progress:
            self.progress(Progress(name, self.done + file.consumed, self.total, self.rows))


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
