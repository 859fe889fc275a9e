"""What is left of a station's readings where old ones were removed: so far a package goes.

Above the floor of a station all readings are there, and the rules give again what they gave: a
package begins there at the earliest. Of a transfer from before the floor there is what a hold or
an open finding kept, with gaps beside it: a package reaches as far as the readings give again
what was found.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from typing import TypeVar

from bondtrail.results import Finding, Hookup, Reject, Ticket, Transfer, Trip, WorkWindow
from bondtrail.samples import Replaced, Samples
from store import DamageError, Floor, PointSummary, Store, Touch

EARLIEST, LATEST = -(2**62), 2**62
"""So far from 1970 nothing is recorded. [ns]"""

Span = tuple[int, int]
Row = TypeVar("Row", Transfer, Hookup, Finding)


@dataclass(frozen=True, slots=True)
class Left:
    """What of a station's readings a package may rest on. Times in ns.

    Attributes
    ----------
    since : int
        The station's floor: what began before it is never judged again.
    kept : int
        From then on all readings of the station are there.
    start, end : int or None
        No reading outside of this stretch is looked at; None where it does not end so.
    """

    since: int
    kept: int
    start: int | None = None
    end: int | None = None

    @classmethod
    def of(cls, floor: Floor, transfer: Transfer) -> Left:
        """Return what is left around a transfer by the floor of its station."""
        is_above = transfer.start >= floor.since
        return cls(floor.since, floor.kept, floor.kept if is_above else None)

    @property
    def readings(self) -> Span:
        """Between which moments readings are looked at. [ns]"""
        return (
            EARLIEST if self.start is None else self.start,
            LATEST if self.end is None else self.end,
        )

    def is_above(self, transfer: Transfer) -> bool:
        """Tell whether a transfer began from the floor on, where all readings are there."""
        return transfer.start >= self.since

    def judged(self, transfer: Transfer) -> Span:
        """Return between which moments results can be judged around a transfer. [ns]"""
        start, end = self.readings
        return (self.since if self.is_above(transfer) else start), end

    def without(self, gone: Iterable[Span], transfer: Span) -> Left:
        """Return what is left without some results beside a transfer. Spans in ns.

        Parameters
        ----------
        gone : iterable of (int, int)
            What was found before the floor and is not found again, or where readings lack.
        transfer : (int, int)
            Nothing of it is left out.
        """
        start, end = self.readings
        for begun, ended in gone:
            if max(ended, begun + 1) <= transfer[0]:
                start = max(start, ended, begun + 1)
            elif transfer[1] <= begun < self.since:
                end = min(end, begun)
        return replace(
            self,
            start=None if start == EARLIEST else start,
            end=None if end == LATEST else end,
        )


class FromLeft:
    """A store of whose readings only those are there that a package may rest on.

    It is what a replay asks for (`analytics.source.Source`). Of results there are those that a
    package tells; all else is as the store has it.

    Parameters
    ----------
    store : Store
        In a snapshot.
    left : Left or None
        What is left of the readings; all of them where nothing was removed that matters.
    transfer : Transfer
        Which one a package is about.

    Attributes
    ----------
    span, judged : (int, int)
        Between which moments readings are looked at, and results can be judged. [ns]
    """

    def __init__(self, store: Store, left: Left | None, transfer: Transfer) -> None:
        self._store = store
        self._transfer = transfer
        self.span = (EARLIEST, LATEST) if left is None else left.readings
        self.judged = self.span if left is None else left.judged(transfer)
        self.snapshot: Callable[[], AbstractContextManager[None]] = store.snapshot
        self.sites: Callable[[], Sequence[tuple[int, str]]] = store.sites
        self.points: Callable[[], Sequence[PointSummary]] = store.points
        self.waiting: Callable[[], dict[str, Touch]] = store.waiting
        self.kept_from: Callable[[str], int | None] = store.kept_from
        self.rejected: Callable[[str, int, int], Sequence[Reject]] = store.rejected
        self.work: Callable[[str], Sequence[WorkWindow]] = store.work
        self.tickets: Callable[[str], Sequence[Ticket]] = store.tickets
        self.transfer: Callable[[str], Transfer | None] = store.transfer

    def hookups(self, station: str, start: int, end: int, /) -> Sequence[Hookup]:
        """Return the hookups that overlap ``[start, end)``, by start. [ns]

        Earlier ones are those of the typical transfer, which no package tells again.
        """
        found = self._store.hookups(station, start, end)
        return found if end <= self._transfer.start else self._told(found)

    def findings(self, station: str, start: int, end: int, /) -> Sequence[Finding]:
        """Return the findings that overlap ``[start, end)``, by start and kind. [ns]"""
        return self._told(self._store.findings(station, start, end))

    def trips(self, station: str, start: int, end: int, /) -> Sequence[Trip]:
        """Return the trips in ``[start, end)``, by time. [ns]"""
        low, high = self.judged
        return self._store.trips(station, max(start, low), min(end, high))

    def transfers(
        self, station: str, start: int, end: int, *, compliant: bool | None = None
    ) -> Sequence[Transfer]:
        """Return the transfers that overlap ``[start, end)``, by start. [ns]"""
        found = self._store.transfers(station, start, end, compliant=compliant)
        return self._told(found) if compliant is None else found

    def readings(self) -> dict[str, Span]:
        """Return when each station's first and last reading are. [ns]"""
        low, high = self.span
        return {
            station: (max(first, low), min(last, high - 1))
            for station, (first, last) in self._store.readings().items()
        }

    def read(
        self,
        point: str,
        start: int | None = None,
        end: int | None = None,
        *,
        on_damage: Callable[[DamageError], None] | None = None,
    ) -> Samples:
        """Return the samples of a point in ``[start, end)``. [ns]"""
        low, high = self._within(start, end)
        if low >= high:
            return Samples.empty()
        return self._store.read(point, low, high, on_damage=on_damage)

    def replaced(
        self,
        point: str,
        start: int | None = None,
        end: int | None = None,
        *,
        on_damage: Callable[[DamageError], None] | None = None,
    ) -> Sequence[Replaced]:
        """Return, by commit, the readings of a point that others took the place of. [ns]"""
        low, high = self._within(start, end)
        if low >= high:
            return []
        return self._store.replaced(point, low, high, on_damage=on_damage)

    def _told(self, rows: Iterable[Row]) -> list[Row]:
        """Return the results that are not over where what is judged begins, nor begin at its end.

        The readings enclosed beside it may show such a one, and a package does not hold it.
        """
        low, high = self.judged
        return [each for each in rows if each.start < high and max(each.end, each.start + 1) > low]

    def _within(self, start: int | None, end: int | None) -> Span:
        low, high = self.span
        return (
            low if start is None else max(start, low),
            high if end is None else min(end, high),
        )
