"""Findings that began before a moment and still go on at it.

An index by when findings began does not tell when they end. So the long ones, which are few,
have an index of their own, and of the others only those that began shortly before can go on.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Sequence
from typing import NamedTuple

from sqlalchemy import BigInteger, ColumnElement, literal, not_, select, union_all

from bondtrail.results import Kind
from bondtrail.times import NS_PER_S
from store.engine import Transaction
from store.schema import IS_LONG, LONG_S
from store.schema import finding as table

REACH_NS = LONG_S * NS_PER_S


class Spanning(NamedTuple):
    """A finding that may span an edge. Times in ns."""

    id: str
    station: str
    severity: str
    start: int
    end: int


def at(moment: int) -> list[list[ColumnElement[bool]]]:
    """Return the conditions to ask for, one question each: together they hold every finding.

    Parameters
    ----------
    moment : int
        Findings that began before it and end after it are meant. [ns]
    """
    going_on = [table.c.start_ns < moment, table.c.end_ns > moment]
    return [
        [IS_LONG, *going_on],
        [not_(IS_LONG), table.c.start_ns >= moment - REACH_NS, *going_on],
    ]


def crossing(tx: Transaction, edges: Sequence[int], stations: Collection[str]) -> list[Spanning]:
    """Return the findings of stations that span an edge (ns), and some long ones that do not.

    A drift is left out: it is about weeks, and would cover what is told of each of their days.
    """
    told = table.c.id, table.c.station, table.c.severity, table.c.start_ns, table.c.end_ns
    mine = table.c.station.in_(stations)
    long = select(*told).where(
        IS_LONG,
        mine,
        table.c.end_ns > edges[0],
        table.c.start_ns < edges[-1],
        table.c.kind != Kind.RESISTANCE_DRIFT.value,
    )
    # The last edge is no one's: what lies beyond it is not asked for.
    inner = [select(literal(edge, BigInteger).label("edge")) for edge in edges[:-1]]
    edge = union_all(*inner).cte("edges").c.edge
    short = select(*told).where(
        not_(IS_LONG),
        mine,
        table.c.start_ns >= edge - REACH_NS,
        table.c.start_ns < edge,
        table.c.end_ns > edge,
    )
    asked = long, short.distinct()  # one may span two edges
    return [Spanning(*row) for query in asked for row in tx.conn.execute(query)]


def parts_after_the_first(found: Spanning, edges: Sequence[int]) -> range:
    """Return the numbers of the stretches between edges that a finding lasts into."""
    return range(
        bisect_right(edges, found.start), min(bisect_left(edges, found.end), len(edges) - 1)
    )
