"""Site files in force, each with the time from which it holds."""

from __future__ import annotations

import tomllib

from sqlalchemy import select

from store.engine import Transaction
from store.schema import site
from store.texts import fit
from store.upsert import upsert


def put(tx: Transaction, text: str, holds_from: int) -> bool:
    """Keep a site file from a time on, in ns; tell whether it differs from the one in force."""
    text, holds_from = fit(text), int(holds_from)
    in_force = (
        select(site.c.text)
        .where(site.c.holds_from_ns <= holds_from)
        .order_by(site.c.holds_from_ns.desc())
        .limit(1)
    )
    if tx.conn.execute(in_force).scalar() == text:
        return False
    statement = upsert(tx.conn, site).values(holds_from_ns=holds_from, text=text)
    tx.conn.execute(
        statement.on_conflict_do_update(
            index_elements=[site.c.holds_from_ns], set_={"text": statement.excluded.text}
        )
    )
    return True


def every(tx: Transaction) -> list[tuple[int, str]]:
    """Return (holds from, text) of every site file, earliest first."""
    query = select(site.c.holds_from_ns, site.c.text).order_by(site.c.holds_from_ns)
    return [(holds_from, text) for holds_from, text in tx.conn.execute(query)]


def named_before(tx: Transaction, moment: int) -> set[str]:
    """Return the ids of the stations that files in force before a moment (ns) name."""
    texts = tx.conn.execute(select(site.c.text).where(site.c.holds_from_ns < int(moment)))
    return {name for text in texts.scalars() for name in _stations(text)}


def _stations(text: str) -> set[str]:
    try:
        tables = tomllib.loads(text).get("station", [])
    except tomllib.TOMLDecodeError:
        return set()  # a file that nobody can read any more names no station
    return {table["id"] for table in tables if isinstance(table, dict) and "id" in table}
