"""Who sends readings: how many came of each, when it was last heard, and how its clock stands."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from typing import Any

from sqlalchemy import case, select
from sqlalchemy.dialects import postgresql, sqlite

from bondtrail.running import Source
from store.engine import Transaction
from store.schema import source
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
