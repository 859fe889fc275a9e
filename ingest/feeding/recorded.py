"""A file of recorded readings as stretches in the order of time, in bounded memory.

A file is read a block at a time. What it holds is sorted within a window of rows, so that readings
a little out of order find their place; one that comes later than that goes as it comes.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from bondtrail.site import Site
from ingest.ahead import ahead
from ingest.errors import Unreadable
from ingest.feeding.report import FeedReport
from ingest.feeding.stretches import Stretch, joined, of_samples
from ingest.files import InputFile, opened, taker_of_readings, why_closed
from ingest.header import HeaderError
from ingest.readings import Tags
from ingest.report import FileKind
from ingest.tables import Batch

WINDOW = 65_536
"""Rows within which the readings of a file are sorted."""
_AHEAD = 2
_FAR = 2**63 - 1


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which readings are to be published.

    Attributes
    ----------
    station : str or None
        Those of one station; None for all.
    start, end : int or None
        Those of ``[start, end)``. [ns]
    """

    station: str | None = None
    start: int | None = None
    end: int | None = None


def as_written(site: Site) -> Site:
    """Return a site whose readings keep the units in which they were written.

    A listener converts them: what it gets must be the very number that a file holds.
    """
    stations = tuple(
        station.model_copy(
            update={
                "points": {
                    role: point.model_copy(update={"scale": 1.0})
                    for role, point in station.points.items()
                }
            }
        )
        for station in site.stations
    )
    return Site(**{**dict(site), "stations": stations})


class Reader:
    """What files of one site's readings are read with.

    Attributes
    ----------
    points : tuple of Point
        Those that the numbers in a `Stretch` stand for.
    """

    def __init__(self, site: Site, wanted: Wanted, *, zone: ZoneInfo | None, now: int) -> None:
        self._tags = Tags(as_written(site))
        self._wanted = wanted
        self._zone, self._now = zone, now
        self.points = self._tags.points
        self._numbers = {
            point.name: number
            for number, point in enumerate(self.points)
            if wanted.station in (None, point.station)
        }

    def stretches(self, path: str, report: FeedReport) -> Generator[Stretch, None, None]:
        """Yield the readings of a file that are wanted, sorted within `WINDOW` rows.

        What cannot be taken is entered in the report, and so is a file that cannot be read.
        """
        try:
            with opened(path, self._now) as (source, book, file):
                yield from in_window(self._taken(source.name, file, report))
                refusals = [file.refusal] if file.refusal else []
                report.read += len(refusals)
                report.rejected += book.rejected
                report.keep([*refusals, *book.close()])
        except OSError as exc:
            report.errors.append(Unreadable(path, why_closed(exc)))

    def _taken(self, name: str, file: InputFile, report: FeedReport) -> Iterator[Stretch]:
        if file.refusal is not None or file.layout is None:
            return
        if file.layout.kind not in (FileKind.LONG, FileKind.WIDE):
            report.notes.append(f"{name} holds {file.layout.kind}: those are not published")
            return
        try:
            take = taker_of_readings(file.layout, self._tags, self._zone)
        except HeaderError as exc:
            report.read += 1
            report.rejected += 1
            report.errors.append(Unreadable(name, str(exc)))
            return
        with closing(ahead(file.batches(take), _AHEAD)) as steps:
            for batch in steps:
                report.read += batch.read
                report.keep(batch.rejects)
                yield self._wanted_of(batch, report)

    def _wanted_of(self, batch: Batch, report: FeedReport) -> Stretch:
        found = joined(
            of_samples(self._numbers[point], samples)
            for point, samples in batch.samples
            if point in self._numbers
        )
        start = -_FAR if self._wanted.start is None else self._wanted.start
        end = _FAR if self._wanted.end is None else self._wanted.end
        inside = found.part((found.time >= start) & (found.time < end))
        report.left_out += sum(len(samples) for _, samples in batch.samples) - len(inside)
        return inside


def in_window(stretches: Iterable[Stretch], window: int = WINDOW) -> Iterator[Stretch]:
    """Yield the readings of stretches sorted among up to ``window`` and more of their neighbours.

    That many are held back each time, so that a later one that belongs before them still can go
    there.
    """
    held = joined([])
    for stretch in stretches:
        held = joined([held, stretch]).by_time()
        ready = len(held) - window
        if ready > 0:
            yield held.part(slice(0, ready))
            held = held.part(slice(ready, None))
    if len(held):
        yield held
