"""Fetch blocks from the database and check each against its checksum."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from sqlalchemy import Table, bindparam, select
from sqlalchemy.exc import DatabaseError

from store import schema
from store.blocks import checksum
from store.engine import Transaction, is_damaged_page
from store.errors import DamageError
from store.layout import Segment

AT_ONCE = 16
"""Blocks to ask for at once."""

OnDamage = Callable[[DamageError], None]


def raise_damage(error: DamageError) -> None:
    """Stop at the first damaged block."""
    raise error


def ignore_damage(_: DamageError) -> None:
    """Read on as if the block were not there."""


class _Block(NamedTuple):
    checksum: int
    block: bytes


def sound_blocks(
    tx: Transaction, table: Table, rows: Sequence[Segment]
) -> Iterator[tuple[Segment, bytes | None]]:
    """Yield each row with its block; with None where that is damaged or cannot be read."""
    for low in range(0, len(rows), AT_ONCE):
        wanted = rows[low : low + AT_ONCE]
        found = _found(tx, table, wanted)
        for row in wanted:
            fetched = found.get(row.id)
            yield row, fetched.block if fetched and _is_sound(row, fetched) else None


def _is_sound(row: Segment, fetched: _Block) -> bool:
    told = (row.point_id, row.first, row.last, row.samples)
    return checksum(*told, fetched.block) == fetched.checksum


def _found(tx: Transaction, table: Table, rows: Sequence[Segment]) -> dict[int, _Block]:
    try:
        return _select(tx, table, rows)
    except DatabaseError as exc:
        if not is_damaged_page(exc):
            raise
        if len(rows) == 1:
            return {}
    found: dict[int, _Block] = {}
    for row in rows:  # one of them is on a damaged page: ask for each alone
        found |= _found(tx, table, [row])
    return found


def _select(tx: Transaction, table: Table, rows: Sequence[Segment]) -> dict[int, _Block]:
    ids = [row.id for row in rows]
    found = tx.conn.execute(_SELECTS[table.name], {"ids": ids})
    return {row_id: _Block(told, bytes(block)) for row_id, told, block in found}


_SELECTS = {
    table.name: select(table.c.id, table.c.checksum, table.c.block).where(
        table.c.id.in_(bindparam("ids", expanding=True))
    )
    for table in (schema.segment, schema.journal, schema.replaced, schema.arrival)
}
