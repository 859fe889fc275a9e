"""Who sends readings: how many, when it was last heard, how its clock stands, what it gives."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from typing import Any

from sqlalchemy import case, select
from sqlalchemy.dialects import postgresql, sqlite

from bondtrail.running import Given, Source
from store.engine import Transaction
from store.schema import given, point, source
from store.texts import fit, plain, shortened
from store.upsert import of_dialect

NAME_BYTES = 400
"""How much of a name is kept: an index cannot hold any length."""


def put(tx: Transaction, heard: Iterable[Source]) -> None:
    """Add what was heard of sources: readings add up, the newest lag that is known stays."""
    rows = [_row(each) for each in heard]
    if rows:
        tx.conn.execute(_adding(tx.conn.dialect.name), rows)


@cache
def _adding(dialect: str) -> sqlite.Insert | postgresql.Insert:
    statement = of_dialect(dialect, source)
    told, held = statement.excluded, source.c
    lags = ("lag_median_s", "lag_spread_s", "lag_count")
    return statement.on_conflict_do_update(
        index_elements=[held.name],
        set_={
            "readings": held.readings + told.readings,
            "heard_ns": case((told.heard_ns > held.heard_ns, told.heard_ns), else_=held.heard_ns),
            **{name: case((told.lag_count > 0, told[name]), else_=held[name]) for name in lags},
        },
    )


def _row(each: Source) -> dict[str, Any]:
    return {
        "name": shortened(fit(each.name), NAME_BYTES),
        "readings": int(each.readings),
        "heard_ns": int(each.heard),
        "lag_median_s": plain(each.lag_median_s),
        "lag_spread_s": plain(each.lag_spread_s),
        "lag_count": int(each.lag_count),
    }


def every(tx: Transaction) -> list[Source]:
    """Return every source that was ever heard, by name."""
    c = source.c
    query = select(
        c.name, c.readings, c.heard_ns, c.lag_median_s, c.lag_spread_s, c.lag_count
    ).order_by(c.name)
    return [Source(*row) for row in tx.conn.execute(query)]


_BY_ALIAS = ("alias", "datatype", "session")


def put_given(tx: Transaction, told: Iterable[Given]) -> None:
    """Note who gives points: the last one counts."""
    rows = [
        {name: fit(getattr(each, name)) for name in ("point", "source", "device", "metric")}
        | {name: getattr(each, name) for name in _BY_ALIAS}
        for each in told
    ]
    if rows:
        tx.conn.execute(_giving(tx.conn.dialect.name), rows)


@cache
def _giving(dialect: str) -> sqlite.Insert | postgresql.Insert:
    statement = of_dialect(dialect, given)
    return statement.on_conflict_do_update(
        index_elements=[given.c.point],
        set_={
            name: statement.excluded[name] for name in ("source", "device", "metric", *_BY_ALIAS)
        },
    )


def every_given(tx: Transaction) -> list[Given]:
    """Return who gives points, and their newest readings, by point."""
    c, newest = given.c, point.c
    query = (
        select(c.point, c.source, c.device, c.metric)
        .add_columns(newest.last_ns, newest.value, newest.quality)
        .add_columns(*(c[name] for name in _BY_ALIAS))
        .join(point, newest.name == c.point)
        .where(newest.last_ns.is_not(None))
        .order_by(c.point)
    )
    return [Given(*row) for row in tx.conn.execute(query)]
