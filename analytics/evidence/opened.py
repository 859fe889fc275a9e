"""A package read back: what is enclosed, as the rules and the replay take it from a store."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np

from analytics.evidence import replaced
from analytics.evidence.documents import About, parse_about
from analytics.evidence.faults import UnreadableError
from analytics.evidence.gathering import MOST_MARGIN_S, Gathered, Heard, asked, longest_held
from analytics.evidence.left import EARLIEST, LATEST
from analytics.evidence.readings import Enclosed, parse_parquet, signals_of
from analytics.evidence.rerun import NAMED_BY, Grounds, compared, run_again
from analytics.evidence.rows import Plain, parse_json, plain, row_of
from analytics.replay.gather import replay_transfer
from analytics.replay.missing import REMOVED
from analytics.replay.replayed import Replay, UnknownSpanError
from bondtrail.results import Finding, Hookup, Reject, Ticket, Transfer, Trip, WorkWindow
from bondtrail.samples import Replaced, Samples
from bondtrail.site import Role, Site, SiteError, parse_site
from bondtrail.times import TimeError, nanoseconds, parse_time
from store import DamageError, PointSummary, Touch

DOCUMENTS = (
    "coverage.json", "paperwork.json", "rejects.json", "replay.json", "results.json",
    "reviews.json",
)  # fmt: skip

_KINDS: Mapping[str, type[Any]] = {
    "transfers": Transfer,
    "hookups": Hookup,
    "trips": Trip,
    "findings": Finding,
}
_READINGS = re.compile(r"readings/([a-z]+)(\.replaced)?\.parquet\Z", re.ASCII)
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
    replaced : mapping of Role to sequence of Replaced
        The earlier values of readings that were replaced, by commit.
    rejects : sequence of Reject
        What could not be taken as readings.
    rows : mapping of str to list
        Transfers, hookups, trips and findings.
    work, tickets : sequence
        As they are enclosed.
    """

    about: About
    documents: Mapping[str, Any]
    sites: Sequence[tuple[int, Site]]
    readings: Mapping[Role, Enclosed]
    replaced: Mapping[Role, Sequence[Replaced]]
    rejects: Sequence[Reject]
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
        transfer = self.transfer
        results: dict[str, Sequence[Plain]] = {
            sort: self.documents["results.json"][sort] for sort in NAMED_BY
        }
        try:
            replay = replay_transfer(_AsStored(self), about.transfer, now=about.shown[1])
        except UnknownSpanError as exc:
            raise UnreadableError(str(exc)) from exc
        self._check_shown(grounds, transfer, replay)
        return Gathered(
            transfer=transfer,
            replay=replay,
            shown=about.shown,
            window=window,
            sites=self.sites,
            work=self.work,
            tickets=self.tickets,
            readings=self.readings,
            replaced=self.replaced,
            rejects=self.rejects,
            results=results,
            findings=self.rows["findings"],
            reviews=(),
            left=about.left,
            differences=compared(
                results,
                run_again(grounds, window),
                window,
                asked=asked(about.left, transfer, self._begins(transfer, replay)),
                about=transfer.id,
            ),
            damaged=about.damaged,
            heard=self.heard,
        )

    @property
    def transfer(self) -> Transfer:
        """The transfer that it is about.

        Raises
        ------
        UnreadableError
            If it is not enclosed.
        """
        name = self.about.transfer
        transfer: Transfer | None = next(
            (each for each in self.rows["transfers"] if each.id == name), None
        )
        if transfer is None or self.documents["results.json"].get("transfer") != plain(transfer):
            raise UnreadableError(f"results.json does not hold the transfer {name}")
        return transfer

    @property
    def heard(self) -> Heard:
        """When the first and the last reading of each point are, within the window. [ns]"""
        return {
            each.role: (each.heard_from.ns, each.heard_until.ns)
            for each in self.about.points
            if each.heard_from and each.heard_until
        }

    def _check_shown(self, grounds: Grounds, transfer: Transfer, replay: Replay) -> None:
        """Refuse what is shown if it is less than a package shows.

        That is the transfer with its margin and all of its replay, as far as there are readings
        to judge it by: whoever narrows it takes out of sight what was found in the rest.

        Raises
        ------
        UnreadableError
            If it is less.
        """
        margin, shown = nanoseconds(self.about.margin_s), self.about.shown
        first, last = self._recorded(max(longest_held(grounds.epochs()).values()))
        begins = self._begins(transfer, replay)
        ends = max(replay.end, transfer.end + margin)
        if self.about.left is not None:
            judged = self.about.left.judged(transfer)
            first, last = max(first, judged[0]), min(last, judged[1])
        if shown[0] > min(max(begins, first), transfer.start):
            raise UnreadableError("about.json: what is shown begins too late for the transfer")
        if shown[1] < max(min(ends, last), transfer.end):
            raise UnreadableError("about.json: what is shown ends too early for the transfer")

    def _begins(self, transfer: Transfer, replay: Replay) -> int:
        """Return from when on all is to be shown, as far as there are readings. [ns]"""
        return min(replay.start, transfer.start - nanoseconds(self.about.margin_s))

    def _recorded(self, longest: int) -> tuple[int, int]:
        """Return from when to when anything is known by the enclosed readings. [ns]

        Where an analysis ended while the last of them still held, nothing is known further.
        """
        lines = [each.samples.time for each in self.readings.values() if len(each.samples)]
        if not lines:
            raise UnreadableError("no readings are enclosed")
        first, last = min(int(t[0]) for t in lines), max(int(t[-1]) for t in lines)
        held, end = last + longest, self.about.window.end
        return first, min(held, end) if last < end else held


def opened(files: Mapping[str, bytes]) -> Opened:
    """Return what the files of a package say.

    Raises
    ------
    UnreadableError
        If one is missing, or does not say what it should.
    """
    about = parse_about(_file(files, "about.json"))
    _check_moments(about)
    documents = {name: _document(files, name) for name in DOCUMENTS}
    results, papers = documents["results.json"], documents["paperwork.json"]
    _check_rejected(documents)
    readings = dict(_readings(files))
    _check_heard(about, readings)
    package = Opened(
        about=about,
        documents=documents,
        sites=[_site(files, entry.file, entry.holds_from.ns) for entry in about.sites],
        readings=readings,
        replaced=dict(_replaced(files, readings)),
        rejects=_rows(Reject, documents["rejects.json"], "rejects", "rejects.json"),
        rows={sort: _rows(kind, results, sort, "results.json") for sort, kind in _KINDS.items()},
        work=_rows(WorkWindow, papers, "work", "paperwork.json"),
        tickets=_rows(Ticket, papers, "tickets", "paperwork.json"),
    )
    _check_floor(package)
    return package


def _file(files: Mapping[str, bytes], name: str) -> bytes:
    if name not in files:
        raise UnreadableError(f"{name} is not in the package")
    return files[name]


def _document(files: Mapping[str, bytes], name: str) -> Any:
    says = parse_json(_file(files, name), name)
    if not isinstance(says, list if name == "reviews.json" else dict):
        raise UnreadableError(f"{name}: expected a {'list' if isinstance(says, dict) else 'table'}")
    return says


def _check_moments(about: About) -> None:
    """Refuse spans that are none, and those of no package.

    What is judged begins no later than what is shown, and ends with it: with another window a
    package could keep from the rules what they would say of it.

    Raises
    ------
    UnreadableError
        If moments are out of order or out of reach, or the margin is none.
    """
    window, shown = about.window, about.shown
    in_order = window.start <= window.since <= shown[0] < shown[1] <= window.end
    if not 0 <= about.margin_s <= MOST_MARGIN_S:
        raise UnreadableError("about.json: a margin that no package has")
    near = min(window.start, shown[0]) > EARLIEST and window.end < LATEST
    if not (in_order and near):
        raise UnreadableError("about.json: the moments of what is enclosed are out of order")
    if window.until != shown[1]:
        raise UnreadableError("about.json: what is judged does not end with what is shown")


def _check_heard(about: About, readings: Mapping[Role, Enclosed]) -> None:
    """Refuse what is said of when a point was heard, if the readings say otherwise.

    Before and after the window it may have been heard or not: the readings cannot tell. Nor can
    they where some could not be read.

    Raises
    ------
    UnreadableError
        If they do.
    """
    window = about.window
    if sorted(point.role for point in about.points) != sorted(readings):
        raise UnreadableError("about.json: its points are not those whose readings are enclosed")
    for point in () if about.damaged else about.points:
        inside = readings[point.role].samples.between(window.start, window.end).time
        told = [each and each.ns for each in (point.heard_from, point.heard_until)]
        may_be = [window.start, window.end, *inside[:1].tolist(), *inside[-1:].tolist(), None]
        if not all(each in may_be for each in told) or (None in told and told != [None, None]):
            raise UnreadableError(f"about.json: {point.role} was heard at other times")


def _check_floor(package: Opened) -> None:
    """Refuse a floor that is none of this transfer's, or readings from where none are left.

    Raises
    ------
    UnreadableError
        If a part of the transfer would not have to be judged, something would be judged without
        its readings, or what is left out was not removed.
    """
    about, left = package.about, package.about.left
    if left is None:
        return
    transfer, window = package.transfer, about.window
    first, last = left.readings
    if not (first <= transfer.start and transfer.end <= last):
        raise UnreadableError("about.json: the floor takes away of the transfer's own readings")
    if left.kept > left.since:
        raise UnreadableError("about.json: readings are kept from later than the floor on")
    if left.is_above(transfer):
        if (left.start, left.end) != (left.kept, None) or window.since < left.since:
            raise UnreadableError("about.json: the floor is not that of what is judged")
    elif left.end is not None and left.end > left.since:
        raise UnreadableError("about.json: readings from after the floor were not removed")
    if window.start < first or window.end > last:
        raise UnreadableError("about.json: more is judged than the floor leaves")
    for role, line in package.readings.items():
        time = line.samples.time
        if len(time) and not first <= time[0] <= time[-1] < last:
            raise UnreadableError(f"{role}: readings are enclosed of which none should be left")


def _site(files: Mapping[str, bytes], name: str, since: int) -> tuple[int, Site]:
    try:
        return since, parse_site(_file(files, name).decode(), name)
    except (SiteError, UnicodeDecodeError) as exc:
        raise UnreadableError(f"{name}: no site file that can be read") from exc


def _readings(files: Mapping[str, bytes]) -> Iterator[tuple[Role, Enclosed]]:
    for name, role in _files_of_readings(files, ""):
        readings = parse_parquet(files[name], name)
        _check_resistance(role, readings.samples, name)
        yield role, readings


def _files_of_readings(files: Mapping[str, bytes], sort: str) -> Iterator[tuple[str, Role]]:
    for name in sorted(files):
        found = _READINGS.match(name)
        if found is None or (found[2] or "") != sort:
            continue
        if found[1] not in list(Role):
            raise UnreadableError(f"{name}: no point is called that")
        yield name, Role(found[1])


def _check_resistance(role: Role, samples: Samples, name: str) -> None:
    if role is Role.RESISTANCE and bool((samples.value < 0).any()):
        raise UnreadableError(f"{name}: a resistance below 0")


def _replaced(
    files: Mapping[str, bytes], readings: Mapping[Role, Enclosed]
) -> Iterator[tuple[Role, list[Replaced]]]:
    """Yield the earlier values of each point that has any; each has a later one."""
    for name, role in _files_of_readings(files, ".replaced"):
        earlier = replaced.parse_parquet(files[name], name)
        known = readings[role].samples.time if role in readings else np.empty(0, np.int64)
        for each in earlier:
            _check_resistance(role, each.samples, name)
            if not np.isin(each.samples.time, known).all():
                raise UnreadableError(f"{name}: nothing took the place of one of them")
        yield role, earlier


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


def _check_rejected(documents: Mapping[str, Any]) -> None:
    """Refuse what a replay says was not taken, if it does not say so as a replay does.

    Raises
    ------
    UnreadableError
        If it is anything but rows of text, with a time in each.
    """
    rows = documents["replay.json"].get("rejected", [])
    try:
        if not isinstance(rows, list):
            raise TypeError
        for each in rows:
            if not all(isinstance(each[name], str) for name in _OF_REJECT):
                raise TypeError
            parse_time(each["time"])
            if "last_time" in each:
                if not isinstance(each["last_time"], str) or type(each["count"]) is not int:
                    raise TypeError
                parse_time(each["last_time"])
    except (TypeError, KeyError, TimeError) as exc:
        raise UnreadableError("replay.json: rejected: expected rows that were not taken") from exc


_OF_REJECT = ("role", "time", "source", "where", "reason")


def _removed_until(replay: Mapping[str, Any]) -> int | None:
    """Return until when a replay says that readings were removed, or None. [ns]"""
    rows = replay.get("missing")
    for row in rows if isinstance(rows, list) else []:
        if isinstance(row, dict) and row.get("why") == REMOVED:
            try:
                return parse_time(str(row.get("end")))
            except TimeError:
                return None
    return None


class _AsStored:
    """So much of a store as a replay asks (`analytics.source.Source`), answered by a package."""

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

    def points(self) -> list[PointSummary]:
        names = {point.role: point.point for point in self._package.about.points}
        return [
            PointSummary(names[role], 0, first, last, math.nan, 0)
            for role, (first, last) in self._package.heard.items()
        ]

    def replaced(
        self,
        point: str,
        start: int | None = None,
        end: int | None = None,
        *,
        on_damage: Callable[[DamageError], None] | None = None,
    ) -> list[Replaced]:
        del on_damage
        low = EARLIEST if start is None else start
        high = LATEST if end is None else end
        earlier = self._package.replaced.get(Role(point.rpartition(".")[2]), ())
        found = [Replaced(each.at, each.samples.between(low, high)) for each in earlier]
        return [each for each in found if len(each.samples)]

    def rejected(self, point: str, start: int, end: int) -> list[Reject]:
        return [
            each
            for each in self._package.rejects
            if each.point == point and each.time is not None and each.time < end
            if start <= (each.time if each.last_time is None else each.last_time)
        ]

    def waiting(self) -> dict[str, Touch]:
        return {}

    def kept_from(self, station: str) -> int | None:
        """Return from when on readings are kept, where older ones were removed. [ns]

        Before format 2 a package told so in its replay alone.
        """
        del station
        about = self._package.about
        if about.format == 1:
            return _removed_until(self._package.documents["replay.json"])
        return None if about.left is None else about.left.kept

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

    def read(
        self,
        point: str,
        start: int | None = None,
        end: int | None = None,
        *,
        on_damage: Callable[[DamageError], None] | None = None,
    ) -> Samples:
        del on_damage  # what is enclosed was read already
        role = Role(point.rpartition(".")[2])
        if role not in self._package.readings:
            return Samples.empty()
        return self._package.readings[role].samples.between(
            EARLIEST if start is None else start, LATEST if end is None else end
        )

    def _overlapping(self, sort: str, start: int, end: int) -> list[Any]:
        """Return results as a store does: one without length counts as a moment."""
        return [
            row
            for row in self._package.rows[sort]
            if row.start < end and max(row.end, row.start + 1) > start
        ]
