"""The one statement that the two databases spell alike but SQLAlchemy keeps apart."""

from __future__ import annotations

from sqlalchemy import Connection, Table
from sqlalchemy.dialects import postgresql, sqlite


def upsert(conn: Connection, table: Table) -> sqlite.Insert | postgresql.Insert:
    """Return an insert that can say what to do when the key is there already."""
    return of_dialect(conn.dialect.name, table)


def of_dialect(name: str, table: Table) -> sqlite.Insert | postgresql.Insert:
    """Return the same for a dialect, by name: to make a statement once."""
    return postgresql.insert(table) if name == "postgresql" else sqlite.insert(table)
