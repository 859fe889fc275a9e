"""A package read back: what is enclosed, as the rules and the replay take it from a store."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar, cast

from analytics.evidence.documents import About, parse_about
from analytics.evidence.faults import UnreadableError
from analytics.evidence.gathering import Gathered
from analytics.evidence.readings import Enclosed, parse_parquet, signals_of
from analytics.evidence.rerun import NAMED_BY, Grounds, compared, judged, results_of
from analytics.evidence.rows import Plain, parse_json, plain, row_of
from analytics.replay.gather import replay_transfer
from analytics.replay.replayed import UnknownSpanError
from bondtrail.results import Finding, Hookup, Ticket, Transfer, Trip, WorkWindow
from bondtrail.samples import Replaced, Samples
from bondtrail.site import Role, Site, SiteError, parse_site
from store import Store

DOCUMENTS = ("coverage.json", "paperwork.json", "replay.json", "results.json", "reviews.json")

_KINDS: Mapping[str, type[Any]] = {
    "transfers": Transfer,
    "hookups": Hookup,
    "trips": Trip,
    "findings": Finding,
}
_READINGS = re.compile(r"readings/([a-z]+)\.parquet\Z", re.ASCII)
_FARTHEST = 2**62
"""So far from 1970 nothing is recorded, in ns: the year 2116."""

Row = TypeVar("Row")


@dataclass(frozen=True, slots=True, eq=False)
class Opened:
    """What is in a package.

    Attributes
    ----------
    about : About
        What it is about.
    documents : mapping
        What each JSON file says, by its name.
    sites : sequence of (int, Site)
        The site files, each with the moment from which it holds. [ns]
    readings : mapping of Role to Enclosed
        By point.
    rows : mapping of str to list
        Transfers, hookups, trips and findings.
    work, tickets : sequence
        As they are enclosed.
    """

    about: About
    documents: Mapping[str, Any]
    sites: Sequence[tuple[int, Site]]
    readings: Mapping[Role, Enclosed]
    rows: Mapping[str, Sequence[Any]]
    work: Sequence[WorkWindow]
    tickets: Sequence[Ticket]

    def again(self) -> Gathered:
        """Return what the package would be made of, had its content been in a store.

        The rules are run again on its readings, and its replay is put together again.

        Raises
        ------
        UnreadableError
            If its content does not allow that.
        """
        about, window = self.about, self.about.window
        grounds = Grounds(
            about.station,
            self.sites,
            self.work,
            self.tickets,
            lambda station, start, end: signals_of(self.readings, station, start, end),
        )
        if not grounds.epochs():
            raise UnreadableError(f"no enclosed site file names the station {about.station}")
        transfer = next((t for t in self.rows["transfers"] if t.id == about.transfer), None)
        if transfer is None or self.documents["results.json"]["transfer"] != plain(transfer):
            raise UnreadableError(f"results.json does not hold the transfer {about.transfer}")
        results: dict[str, Sequence[Plain]] = {
            sort: self.documents["results.json"][sort] for sort in NAMED_BY
        }
        try:
            # The stand-in answers what a replay asks of a store, and nothing else.
            stored = cast(Store, _AsStored(self))
            replay = replay_transfer(stored, about.transfer, now=about.shown[1])
        except UnknownSpanError as exc:
            raise UnreadableError(str(exc)) from exc
        return Gathered(
            transfer=transfer,
            replay=replay,
            shown=about.shown,
            window=window,
            sites=self.sites,
            work=self.work,
            tickets=self.tickets,
            readings=self.readings,
            results=results,
            findings=self.rows["findings"],
            reviews=(),
            differences=compared(results, results_of(judged(grounds, window)), window),
            damaged=about.damaged,
        )


def opened(files: Mapping[str, bytes]) -> Opened:
    """Return what the files of a package say.

    Raises
    ------
    UnreadableError
        If one is missing, or does not say what it should.
    """
    about = parse_about(_file(files, "about.json"))
    _check_moments(about)
    documents = {name: parse_json(_file(files, name), name) for name in DOCUMENTS}
    results, papers = documents["results.json"], documents["paperwork.json"]
    return Opened(
        about=about,
        documents=documents,
        sites=[_site(files, entry.file, entry.holds_from.ns) for entry in about.sites],
        readings=dict(_readings(files)),
        rows={sort: _rows(kind, results, sort, "results.json") for sort, kind in _KINDS.items()},
        work=_rows(WorkWindow, papers, "work", "paperwork.json"),
        tickets=_rows(Ticket, papers, "tickets", "paperwork.json"),
    )


def _file(files: Mapping[str, bytes], name: str) -> bytes:
    if name not in files:
        raise UnreadableError(f"{name} is not in the package")
    return files[name]


def _check_moments(about: About) -> None:
    """Refuse spans that are none.

    Raises
    ------
    UnreadableError
        If moments are out of order or out of reach.
    """
    window, shown = about.window, about.shown
    in_order = window.start <= window.since <= window.until <= window.end
    in_order &= window.start < window.end and shown[0] < shown[1] <= window.end
    near = min(window.start, shown[0]) > -_FARTHEST and window.end < _FARTHEST
    if not (in_order and near):
        raise UnreadableError("about.json: the moments of what is enclosed are out of order")


def _site(files: Mapping[str, bytes], name: str, since: int) -> tuple[int, Site]:
    try:
        return since, parse_site(_file(files, name).decode(), name)
    except (SiteError, UnicodeDecodeError) as exc:
        raise UnreadableError(f"{name}: no site file that can be read") from exc


def _readings(files: Mapping[str, bytes]) -> Iterator[tuple[Role, Enclosed]]:
    for name in sorted(files):
        found = _READINGS.match(name)
        if found is None:
            continue
        if found[1] not in list(Role):
            raise UnreadableError(f"{name}: no point is called that")
        readings = parse_parquet(files[name], name)
        if found[1] == Role.RESISTANCE and bool((readings.samples.value < 0).any()):
            raise UnreadableError(f"{name}: a resistance below 0")
        yield Role(found[1]), readings


def _rows(kind: type[Row], told: Any, sort: str, name: str) -> list[Row]:
    """Return rows of a document; each must be written as `plain` writes it."""
    listed = told.get(sort) if isinstance(told, dict) else None
    if not isinstance(listed, list):
        raise UnreadableError(f"{name}: expected a list of {sort}")
    rows = [row_of(kind, each, name) for each in listed]
    for row, each in zip(rows, listed, strict=True):
        if plain(row) != each:
            raise UnreadableError(f"{name}: a row of {sort} does not say one thing throughout")
    return rows


class _AsStored:
    """So much of a store as a replay asks, answered from a package."""

    def __init__(self, package: Opened) -> None:
        self._package = package

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        yield

    def sites(self) -> list[tuple[int, str]]:
        return [(since, site.text) for since, site in self._package.sites]

    def readings(self) -> dict[str, tuple[int, int]]:
        times = [line.samples.time for line in self._package.readings.values()]
        first = min((int(time[0]) for time in times if time.size), default=0)
        last = max((int(time[-1]) for time in times if time.size), default=0)
        return {self._package.about.station: (first, last)}

    def replaced(self, point: str, *_: object, **__: object) -> list[Replaced]:
        return []

    def waiting(self) -> dict[str, Any]:
        return {}

    def work(self, station: str) -> list[WorkWindow]:
        return [each for each in self._package.work if each.station == station]

    def tickets(self, station: str) -> list[Ticket]:
        return [each for each in self._package.tickets if each.station == station]

    def transfer(self, transfer_id: str) -> Transfer | None:
        return next((t for t in self._package.rows["transfers"] if t.id == transfer_id), None)

    def transfers(
        self, station: str, start: int, end: int, *, compliant: bool | None = None
    ) -> list[Transfer]:
        if compliant is not None:
            return []  # the good ones before it are not enclosed
        return self._overlapping("transfers", start, end)

    def hookups(self, station: str, start: int, end: int) -> list[Hookup]:
        return self._overlapping("hookups", start, end)

    def findings(self, station: str, start: int, end: int) -> list[Finding]:
        return self._overlapping("findings", start, end)

    def trips(self, station: str, start: int, end: int) -> list[Trip]:
        return [trip for trip in self._package.rows["trips"] if start <= trip.time < end]

    def read(self, point: str, start: int, end: int, **_: object) -> Samples:
        role = Role(point.rpartition(".")[2])
        if role not in self._package.readings:
            return Samples.empty()
        return self._package.readings[role].samples.between(start, end)

    def _overlapping(self, sort: str, start: int, end: int) -> list[Any]:
        """Return results as a store does: one without length counts as a moment."""
        return [
            row
            for row in self._package.rows[sort]
            if row.start < end and max(row.end, row.start + 1) > start
        ]
