"""The rules run again over a stretch of readings, and how what they say differs from results.

The same functions judge as in an analysis (`analytics.core.station.examine`, and
`analytics.epochs` where limits changed), whether readings come from a store or from a package.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from analytics.core.days import Episodes
from analytics.core.quiet import Quiet, last_quiet
from analytics.core.situation import Signals
from analytics.core.station import Verdict, examine
from analytics.epochs import OF_TRANSFER, Epoch, epochs_of, merged, select
from analytics.evidence.losses import continued, going_on
from analytics.evidence.reach import Untold, last_reading, outlives, untold
from analytics.evidence.rows import Plain, differing, plain_rows
from bondtrail.results import Kind, Ticket, WorkWindow
from bondtrail.site import Site, Station
from bondtrail.times import format_time

Read = Callable[[Station, int, int], Signals]
"""A station's readings that hold in ``[start, end)``, in ns."""


@dataclass(frozen=True, slots=True)
class Window:
    """What is judged of which readings. [ns]

    Attributes
    ----------
    start, end : int
        The readings that hold in this stretch are enclosed.
    since, until : int
        What began in this stretch is judged from them: nothing that is under way at ``since``
        could change it.
    """

    start: int
    since: int
    until: int
    end: int


@dataclass(frozen=True, slots=True, eq=False)
class Grounds:
    """What a station is judged by: site files with the moment each holds from, and papers."""

    station: str
    sites: Sequence[tuple[int, Site]]
    work: Sequence[WorkWindow]
    tickets: Sequence[Ticket]
    read: Read

    def epochs(self) -> list[Epoch]:
        """Return the stretches in which one set of limits holds."""
        return epochs_of(self.station, self.sites)


def run_again(grounds: Grounds, window: Window) -> Again:
    """Return what the rules give of a window, as an analysis of its readings judges it."""
    verdicts = _verdicts(grounds, window.start, window.end)
    earlier = results_of(merged(select(verdicts, window.start, window.since)))
    return Again(
        begun=results_of(merged(select(verdicts, window.since, window.until))),
        under_way=_those(earlier, lambda row: _goes_past(row, window.since)),
        over=_those(earlier, lambda row: not _goes_past(row, window.since)),
        lost=frozenset().union(*(going_on(verdict) for _, verdict in verdicts)),
        untold=dict(
            pair
            for epoch, verdict in verdicts
            for pair in untold(verdict)
            if pair[0] in _begun_in(epoch, verdict)
        ),
        last_reading=last_reading(verdict for _, verdict in verdicts),
    )


def _begun_in(epoch: Epoch, verdict: Verdict) -> set[str]:
    """Return the ids of the transfers that began in an epoch: it judges them."""
    ids = verdict.case.ids
    return {name for start, name in ids.items() if epoch.start <= start < epoch.end}


def _those(results: Results, are: Callable[[Plain], bool]) -> Results:
    return {sort: [row for row in rows if are(row)] for sort, rows in results.items()}


def _goes_past(row: Plain, moment: int) -> bool:
    return bool(row["end_ns"] > moment if "end_ns" in row else row["time_ns"] >= moment)


def quiet_before(grounds: Grounds, start: int, before: int, *, whole: bool) -> Quiet | None:
    """Return the latest quiet moment between two, if there is one. [ns]

    ``whole`` says that nothing is recorded before ``start``.
    """
    verdicts = _verdicts(grounds, start, before, over=True)
    if not verdicts:
        return None
    return last_quiet([verdict.case for _, verdict in verdicts], before, whole=whole)


def _verdicts(
    grounds: Grounds, start: int, end: int, *, over: bool = False
) -> list[tuple[Epoch, Verdict]]:
    """Return what each set of limits that holds in a stretch says of it.

    With ``over`` also those that are over by then: what began under one is judged by it.
    """
    found = []
    for epoch in grounds.epochs():
        if epoch.start >= end or (epoch.end <= start and not over):
            continue
        signals = grounds.read(epoch.station, start, end)
        verdict = examine(
            epoch.station, signals, (start, end), work=grounds.work, tickets=grounds.tickets
        )
        found.append((epoch, verdict))
    return found


NAMED_BY: Mapping[str, tuple[str, ...]] = {
    "transfers": ("id",),
    "hookups": ("start_ns",),
    "trips": ("time_ns", "cause"),
    "findings": ("id",),
}
"""What tells two results of a sort apart."""

_SORTS = {"transfers": "transfer", "hookups": "hookup", "trips": "trip", "findings": "finding"}

Results = Mapping[str, Sequence[Plain]]
"""Rows of each sort of `NAMED_BY`, as plain values."""


@dataclass(frozen=True, slots=True)
class Again:
    """What the rules give of a window.

    Attributes
    ----------
    begun : mapping of str to list
        What began from ``since`` on, before ``until``.
    under_way : mapping of str to list
        What began in the readings before ``since`` and went on past it. Nothing does where that
        is a quiet moment, so a result that was left out by a later ``since`` is found here.
    over : mapping of str to list
        What began and ended in the readings before ``since``.
    lost : frozenset of int
        The moments of the trips whose loss of bond goes on where the readings end. [ns]
    untold : mapping of str to str
        Of which transfers the readings do not tell whether they are whole, by id, and why.
    last_reading : int or None
        When the last reading of any point is. [ns]
    """

    begun: Results
    under_way: Results
    over: Results
    lost: frozenset[int] = frozenset()
    untold: Untold = field(default_factory=dict)
    last_reading: int | None = None


def results_of(episodes: Episodes) -> dict[str, list[Plain]]:
    """Return episodes as plain rows by sort."""
    return {sort: plain_rows(getattr(episodes, sort)) for sort in NAMED_BY}


@dataclass(frozen=True, slots=True)
class Difference:
    """A result that the rules do not give as it is enclosed.

    Attributes
    ----------
    sort, name : str
        Which one: ``finding`` and its id, or ``hookup`` and its moment.
    said : str
        How they differ, in words.
    beyond : bool
        Whether it reaches beyond the enclosed readings, so that it cannot come out of them.
    row : mapping
        The result.
    is_given : bool
        Whether the rules do give it, and what is enclosed does not tell whether that is all of it.
    """

    sort: str
    name: str
    said: str
    beyond: bool
    row: Plain = field(repr=False, compare=False)
    is_given: bool = False

    @property
    def span(self) -> tuple[int, int]:
        """When the result began and ended; a trip is a moment. [ns]"""
        return _span(self.row)

    def is_about(self, transfer: Plain) -> bool:
        """Tell whether it is of a transfer, of its hookup, or of what was found in its time."""
        if transfer["id"] in (self.row.get("id"), self.row.get("transfer")):
            return True
        start, end = self.span
        return bool(start < transfer["end_ns"] and max(end, start + 1) > transfer["start_ns"])

    def __str__(self) -> str:
        return f"{self.sort} {self.name}: {self.said}"


def compared(
    enclosed: Results,
    again: Again,
    window: Window,
    *,
    asked: int | None = None,
    about: str | None = None,
) -> list[Difference]:
    """Return where results of a window are not what the rules give again, or may not be whole.

    Parameters
    ----------
    enclosed : mapping
        What is said. What reaches beyond the window is marked so: no single stretch of readings
        gives it.
    again : Again
        What the rules give.
    window : Window
        What was judged again.
    asked : int, optional
        From when on more was to be shown than the station's floor allows: what the readings tell
        there is named, or a floor that is made up could hide it. [ns]
    about : str, optional
        The id of the transfer that matters: of it and its hookups is told whether they are whole.
    """
    longer = continued(enclosed["trips"], again.begun["trips"], again.lost)
    trips = [longer.get(row["time_ns"], row) for row in again.begun["trips"]]
    again = replace(again, begun={**again.begun, "trips": trips})
    scope = _Scope.of(enclosed, again, window)
    found = [
        difference
        for sort, names in NAMED_BY.items()
        for difference in _of_sort(sort, enclosed[sort], again, names, scope)
    ]
    goes_on = f"its loss of bond goes on after the enclosed readings end, {format_time(window.end)}"
    found += [_difference("trips", row, goes_on, goes_on) for row in longer.values()]
    if about is not None:
        found += _not_whole(enclosed, again, about, found)
    return found if asked is None else [*found, *_below(again, window, asked)]


def _not_whole(
    enclosed: Results, again: Again, about: str, found: Sequence[Difference]
) -> Iterator[Difference]:
    """Yield what the rules give of a transfer and its hookups, and may go on beyond the readings.

    What differs is told as such already.
    """
    told = {(each.sort, each.name) for each in found}
    for row in (row for row in enclosed["transfers"] if row["id"] == about):
        if about in again.untold and ("transfer", about) not in told:
            yield _given("transfers", row, f"it cannot be told {again.untold[about]}")
        for hookup in enclosed["hookups"]:
            each = _given("hookups", hookup, _ENDS)
            is_cut = each.is_about(row) and outlives(hookup, again.last_reading)
            if is_cut and (each.sort, each.name) not in told:
                yield each


_ENDS = "it cannot be told whether it went on: it ends after the last of the enclosed readings"


def _below(again: Again, window: Window, asked: int) -> Iterator[Difference]:
    """Yield what the readings before a floor tell of what was to be shown. [ns]"""
    why = f"it was before the floor, {format_time(window.since)}, and is not judged"
    for sort, rows in again.over.items():
        for row in rows:
            start, end = _span(row)
            if start > window.start and max(end, start + 1) > asked:
                yield _difference(sort, row, why, why)


@dataclass(frozen=True, slots=True)
class _Scope:
    """A window, and what of transfers and findings reaches beyond it.

    Attributes
    ----------
    window : Window
        What was judged again.
    beyond : frozenset of str
        The ids of the enclosed ones that do.
    cut : frozenset of str
        The ids that the rules give to such, or to others of which they see but a part.
    enclosed : mapping
        What is said.
    """

    window: Window
    beyond: frozenset[str]
    cut: frozenset[str]
    enclosed: Results

    @classmethod
    def of(cls, enclosed: Results, again: Again, window: Window) -> _Scope:
        bare = cls(window, frozenset(), frozenset(), enclosed)
        rows = (*enclosed["transfers"], *enclosed["findings"])
        wider = cls(
            window, frozenset(row["id"] for row in rows if bare.why(row)), frozenset(), enclosed
        )
        cut = [
            row["id"]
            for sort in ("transfers", "findings")
            for row in again.under_way[sort]
            if wider.why_cut(sort, row)
        ]
        told = {row["id"] for row in enclosed["findings"]}
        cut += [
            row["id"]
            for row in again.begun["findings"]
            if row["end_ns"] == window.end and row["id"] not in told
        ]
        return cls(window, wider.beyond, frozenset(cut), enclosed)

    def why(self, row: Plain) -> str | None:
        """Return why a result cannot come out of the window's readings, or None if it can."""
        if row.get("kind") == Kind.RESISTANCE_DRIFT:
            return "it rests on weeks of hookups, not on one stretch of readings"
        start, end = _span(row)
        if start < self.window.since:
            since = format_time(self.window.since)
            return f"it began before what can be judged from the enclosed readings, {since}"
        if end > self.window.end:
            return f"it goes on after the enclosed readings end, {format_time(self.window.end)}"
        goes_with = row.get("kind") in OF_TRANSFER or "trip_class" in row
        if goes_with and row["transfer"] in self.beyond:
            return f"its transfer, {row['transfer']}, reaches beyond the enclosed readings"
        return None

    def why_not_said(self, row: Plain) -> str | None:
        """Return why a result of the rules need not be enclosed, or None if it should be."""
        if row.get("end_ns") == self.window.end:
            return "it is cut off where the enclosed readings end"
        return self.why(row)

    def why_cut(self, sort: str, row: Plain) -> str | None:
        """Return why what is under way at ``since`` need not be enclosed, or None if it should be.

        What was under way as the readings begin has another beginning in them than it had, and
        so may have what the rules see in its midst.
        """
        if _span(row)[0] <= self.window.start or self.is_midst(sort, row):
            return "it is under way where the enclosed readings begin"
        if row.get("end_ns") == self.window.end:
            return "it is cut off where the enclosed readings end"
        if row.get("transfer") in self.cut:
            return f"its transfer, {row['transfer']}, is under way where the readings begin"
        return None

    def is_midst(self, sort: str, row: Plain) -> bool:
        """Tell whether a result begins in the midst of an enclosed one that began before."""
        begin = _span(row)[0]
        for other in self.enclosed[sort]:
            start, end = _span(other)
            alike = row.get("kind") == other.get("kind")
            if alike and start < begin < end and start < self.window.since:
                return True
        return False


def _span(row: Plain) -> tuple[int, int]:
    """Return when a result began and ended; a trip is a moment. [ns]"""
    start: int = row["start_ns"] if "start_ns" in row else row["time_ns"]
    end: int = row.get("end_ns", start)
    return start, end


def _of_sort(
    sort: str, enclosed: Sequence[Plain], again: Again, names: Sequence[str], scope: _Scope
) -> Iterator[Difference]:
    said = {_key(row, names): row for row in enclosed}
    given = {_key(row, names): row for row in again.begun[sort]}
    under_way = {_key(row, names): row for row in again.under_way[sort]}
    for key, row in said.items():
        how = _how(row, given.get(key) or under_way.get(key), scope)
        if how is not None:
            yield _difference(sort, row, how, scope.why(row))
    left_out = "the rules give it, and it is not enclosed"
    for key, row in given.items():
        if key not in said:
            yield _difference(sort, row, left_out, scope.why_not_said(row))
    for key, row in under_way.items():
        if key not in said and key not in given and not scope.is_midst(sort, row):
            yield _difference(sort, row, left_out, scope.why_cut(sort, row))


def _difference(sort: str, row: Plain, how: str, why: str | None) -> Difference:
    """Return a difference: ``how`` it is one, and ``why`` it cannot be otherwise, if so."""
    return Difference(_SORTS[sort], _name(row), why or how, why is not None, row)


def _given(sort: str, row: Plain, said: str) -> Difference:
    return Difference(_SORTS[sort], _name(row), said, beyond=True, row=row, is_given=True)


def _how(row: Plain, other: Plain | None, scope: _Scope) -> str | None:
    """Return how the rules give a result otherwise, or None if they give the same."""
    if other is None:
        return "the rules do not give it"
    fields = differing(_within(row, scope), _within(other, scope))
    return f"the rules give another {', '.join(fields)}" if fields else None


def _within(row: Plain, scope: _Scope) -> Plain:
    """Return a result without what it names of transfers and findings that reach beyond.

    One that goes on after what is judged may name findings that began then: they are not enclosed.
    """
    gone = scope.beyond | scope.cut
    if "findings" in row:
        names = [name for name in row["findings"] if name not in gone]
        if row["end_ns"] > scope.window.until:
            enclosed = {each["id"] for each in scope.enclosed["findings"]}
            names = [name for name in names if name in enclosed]
        return {**row, "findings": names}
    if row.get("transfer") in gone:
        return {**row, "transfer": "one that reaches beyond"}
    return row


def _key(row: Plain, names: Sequence[str]) -> tuple[Any, ...]:
    return tuple(row.get(name) for name in names)


def _name(row: Plain) -> str:
    return str(row.get("id") or row.get("start") or row.get("time"))
