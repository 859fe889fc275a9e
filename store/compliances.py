"""Which transfers were compliant, over all stations at once: what a compliance figure rests on."""

from __future__ import annotations

import datetime as dt
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, case, func, select

from bondtrail.results import DAY_HISTOGRAMS, NON_COMPLIANT, DaySums, Finding, Kind, Transfer
from store import rollups, schema
from store.dayrows import PARTS, sums_of
from store.engine import Database
from store.results import FINDINGS, TRANSFERS

_NUMBERS = PARTS[: len(schema.SUMMED)]
_NO_BINS = ("",) * len(DAY_HISTOGRAMS)
_NAMED_AT_ONCE = 500
"""Ids in one question: databases take only so many."""
_ROUNDING_S = 1e-6
_BITS = {str(kind): 1 << place for place, kind in enumerate(sorted(NON_COMPLIANT))}


@dataclass(frozen=True, slots=True)
class TransferCount:
    """How many transfers began in one stretch of days, by its number, and how many were good."""

    part: int
    transfers: int
    compliant: int


class FailingTransfer(NamedTuple):
    """A transfer that is not compliant: when it began (ns), and what kinds speak against it."""

    id: str
    station: str
    start: int
    kinds: frozenset[Kind]


@dataclass(frozen=True, slots=True)
class Allowed:
    """Compliant transfers that ran without a verified bond for a while, within the allowances.

    Attributes
    ----------
    not_bonded, not_bonded_s : int, float
        Those that flowed while the bond was known and not verified, and for how long in all. [s]
    no_data, no_data_s : int, float
        Those that flowed while it was unknown; a transfer may be among both. [s]
    unknown_throughout : int
        Those of them that flowed at no other time.
    """

    not_bonded: int = 0
    not_bonded_s: float = 0.0
    no_data: int = 0
    no_data_s: float = 0.0
    unknown_throughout: int = 0


class Compliances:
    """The questions behind a compliance figure. Times are UTC ns, spans half-open.

    ``stations`` are all where it is None. Every method raises a `StoreError` if the database does
    not answer.
    """

    def __init__(self, db: Database) -> None:
        self._db = db

    def sums(
        self,
        first: dt.date,
        last: dt.date,
        stations: Collection[str] | None = None,
        *,
        shifts: bool = False,
    ) -> list[DaySums]:
        """Return the sums of the days ``first`` to ``last`` by station, as of ``first``.

        Histograms are left out, which take most of the time: see `Summaries.sums`. With
        ``shifts`` each shift is told by itself; there is nothing then of days without shifts.
        """
        edges = [first, rollups.day_after(last)]
        with self._db.reading() as tx:
            found = rollups.sums(tx, edges, stations=stations, columns=_NUMBERS, by_shift=shifts)
        return sums_of(
            ((key.station, first, key.shift), (*found[key], *_NO_BINS)) for key in sorted(found)
        )

    def counts(
        self,
        edges: Sequence[dt.date],
        stations: Collection[str] | None = None,
        shift: str | None = None,
    ) -> list[TransferCount]:
        """Return the transfers of all stations together, between neighbouring edges.

        Parameters
        ----------
        edges : sequence of date
            Rising; stretch ``n`` is from ``edges[n]`` to the day before ``edges[n + 1]``.
        stations : collection of str, optional
            Of these only.
        shift : str, optional
            Of this shift only, ``""`` being the time outside any.
        """
        transfers, compliant = [0] * (len(edges) - 1), [0] * (len(edges) - 1)
        with self._db.reading() as tx:
            for piece in rollups.pieces(edges):
                table = piece.level.table(by_shift=shift is not None)
                when = table.c[piece.level.name]
                where = [when >= piece.start, when < piece.end, *_of(table, stations)]
                if shift is not None:
                    where.append(table.c.shift == shift)
                sums = func.sum(table.c.transfers), func.sum(table.c.compliant_transfers)
                for day, some, good in tx.conn.execute(
                    select(when, *sums).where(*where).group_by(when)
                ):
                    part = bisect_right(edges, day) - 1
                    transfers[part] += some
                    compliant[part] += good
        told = zip(transfers, compliant, strict=True)
        return [TransferCount(part, some, good) for part, (some, good) in enumerate(told)]

    def by_shift(
        self, first: dt.date, last: dt.date, stations: Collection[str] | None = None
    ) -> dict[str, tuple[int, int]]:
        """Return the transfers of all stations in the days ``first`` to ``last`` by shift.

        So many in all and so many compliant; nothing of days without shifts.
        """
        found: dict[str, tuple[int, int]] = {}
        with self._db.reading() as tx:
            for piece in rollups.pieces([first, rollups.day_after(last)]):
                table = piece.level.table(by_shift=True)
                when = table.c[piece.level.name]
                sums = func.sum(table.c.transfers), func.sum(table.c.compliant_transfers)
                where = [when >= piece.start, when < piece.end, *_of(table, stations)]
                asked = select(table.c.shift, *sums).where(*where).group_by(table.c.shift)
                for shift, some, good in tx.conn.execute(asked):
                    before = found.get(shift, (0, 0))
                    found[shift] = before[0] + some, before[1] + good
        return found

    def failing(
        self, start: int, end: int, stations: Collection[str] | None = None
    ) -> list[FailingTransfer]:
        """Return the transfers that began in a span and are not compliant, by start."""
        transfer, finding = schema.transfer.c, schema.finding.c
        mine = _of(schema.transfer, stations)
        rows = select(transfer.id, transfer.station, transfer.start_ns, transfer.end_ns).where(
            schema.IS_FAILING, transfer.start_ns >= start, transfer.start_ns < end, *mine
        )
        against: dict[str, int] = defaultdict(int)
        with self._db.reading() as tx:
            found = tx.conn.execute(rows.order_by(transfer.start_ns, transfer.station)).all()
            until = max((row.end_ns for row in found), default=start)
            # Of both, indexes hold all that is asked for: rows by the thousand take long to find.
            asked = select(finding.transfer, finding.kind).where(
                schema.SPEAKS_AGAINST, finding.start_ns >= start, finding.start_ns <= until
            )
            for name, kind in tx.conn.execute(asked):
                against[name] |= _BITS[kind]
        return [
            FailingTransfer(name, station, began, _kinds(against[name]))
            for name, station, began, _ in found
        ]

    def allowed(self, start: int, end: int, stations: Collection[str] | None = None) -> Allowed:
        """Count the compliant transfers that began in a span and rest on the allowances."""
        of = schema.transfer.c
        asked = select(
            _count_if(of.not_bonded_s > 0),
            func.coalesce(func.sum(of.not_bonded_s), 0.0),
            _count_if(of.no_data_s > 0),
            func.coalesce(func.sum(of.no_data_s), 0.0),
            # Both are sums of the same stretches, each rounded by itself.
            _count_if((of.no_data_s > 0) & (of.no_data_s >= of.flow_s - _ROUNDING_S)),
        ).where(
            schema.IS_ALLOWED,
            of.start_ns >= start,
            of.start_ns < end,
            *_of(schema.transfer, stations),
        )
        with self._db.reading() as tx:
            return Allowed(*tx.conn.execute(asked).one())

    def rules(self, start: int, end: int, stations: Collection[str] | None = None) -> set[str]:
        """Return the versions of the rules by which the findings that began in a span are."""
        finding = schema.finding.c
        asked = select(finding.rules).where(
            finding.start_ns >= start, finding.start_ns < end, *_of(schema.finding, stations)
        )
        with self._db.reading() as tx:
            return set(tx.conn.execute(asked.distinct()).scalars())

    def transfers(self, ids: Collection[str]) -> list[Transfer]:
        """Return the transfers of these ids, by start; one that there is not is left out."""
        found = self._named(TRANSFERS, schema.transfer.c.id, ids)
        return sorted(found, key=lambda row: (row.start, row.station))

    def findings(self, transfers: Collection[str]) -> list[Finding]:
        """Return the findings of these transfers, by start."""
        found = self._named(FINDINGS, schema.finding.c.transfer, transfers)
        return sorted(found, key=lambda row: (row.start, row.kind))

    def _named(self, rows: Any, column: ColumnElement[str], ids: Collection[str]) -> list[Any]:
        asked = list(ids)
        cuts = range(0, len(asked), _NAMED_AT_ONCE)
        with self._db.reading() as tx:
            return [
                row
                for low in cuts
                for row in rows.select(tx, [column.in_(asked[low : low + _NAMED_AT_ONCE])], [])
            ]


def _of(table: Any, stations: Collection[str] | None) -> list[ColumnElement[bool]]:
    return [] if stations is None else [table.c.station.in_(stations)]


def _count_if(condition: ColumnElement[bool]) -> ColumnElement[int]:
    return func.coalesce(func.sum(case((condition, 1), else_=0)), 0)


@cache
def _kinds(bits: int) -> frozenset[Kind]:
    """Return the kinds of some bits: there are few sets of them, and transfers by the thousand."""
    return frozenset(Kind(name) for name, bit in _BITS.items() if bits & bit)
