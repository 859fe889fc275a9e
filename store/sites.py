"""Site files in force, each with the time from which it holds."""

from __future__ import annotations

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
