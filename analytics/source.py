"""What is read of a store: its own words, so that a package can stand in for one.

`Source` names no more than what a replay asks, which lets the type checker hold every stand-in to
all of it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Protocol

from bondtrail.results import Finding, Hookup, Reject, Ticket, Transfer, Trip, WorkWindow
from bondtrail.samples import Replaced, Samples
from store import DamageError, PointSummary, Touch


class HasReadings(Protocol):
    """Readings by point."""

    def read(
        self,
        point: str,
        start: int | None = None,
        end: int | None = None,
        *,
        on_damage: Callable[[DamageError], None] | None = None,
    ) -> Samples:
        """Return the samples of a point in ``[start, end)``. [ns]"""
        ...


class HasSites(Protocol):
    """Site files."""

    def sites(self) -> Sequence[tuple[int, str]]:
        """Return every site file with the moment from which it holds, in order. [ns]"""
        ...


class Source(HasReadings, HasSites, Protocol):
    """So much of a `store.Store` as a replay reads; see there what each of it returns."""

    def snapshot(self) -> AbstractContextManager[None]:
        """Keep all that is read within it to one state."""
        ...

    def points(self) -> Sequence[PointSummary]:
        """Return every point that has readings."""
        ...

    def readings(self) -> Mapping[str, tuple[int, int]]:
        """Return when each station's first and last reading are. [ns]"""
        ...

    def replaced(
        self,
        point: str,
        start: int | None = None,
        end: int | None = None,
        *,
        on_damage: Callable[[DamageError], None] | None = None,
    ) -> Sequence[Replaced]:
        """Return, by commit, the readings of a point that others took the place of. [ns]"""
        ...

    def rejected(self, point: str, start: int, end: int, /) -> Sequence[Reject]:
        """Return the rejects that would have been readings of a point in a span, by time. [ns]"""
        ...

    def kept_from(self, station: str, /) -> int | None:
        """Return from when on readings are kept, where older ones were removed. [ns]"""
        ...

    def waiting(self) -> Mapping[str, Touch]:
        """Return, by station, from where on there is something to judge."""
        ...

    def work(self, station: str, /) -> Sequence[WorkWindow]:
        """Return the work windows of a station."""
        ...

    def tickets(self, station: str, /) -> Sequence[Ticket]:
        """Return the tickets of a station."""
        ...

    def transfer(self, transfer_id: str, /) -> Transfer | None:
        """Return a transfer by its id, or None."""
        ...

    def transfers(
        self, station: str, start: int, end: int, /, *, compliant: bool | None = None
    ) -> Sequence[Transfer]:
        """Return the transfers that overlap ``[start, end)``, by start. [ns]"""
        ...

    def hookups(self, station: str, start: int, end: int, /) -> Sequence[Hookup]:
        """Return the hookups that overlap ``[start, end)``, by start. [ns]"""
        ...

    def findings(self, station: str, start: int, end: int, /) -> Sequence[Finding]:
        """Return the findings that overlap ``[start, end)``, by start and kind. [ns]"""
        ...

    def trips(self, station: str, start: int, end: int, /) -> Sequence[Trip]:
        """Return the trips in ``[start, end)``, by time. [ns]"""
        ...
