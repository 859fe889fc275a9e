"""The one statement that the two databases spell alike but SQLAlchemy keeps apart."""

from __future__ import annotations

from sqlalchemy import Connection, Table
from sqlalchemy.dialects import postgresql, sqlite


def upsert(conn: Connection, table: Table) -> sqlite.Insert | postgresql.Insert:
    """Return an insert that can say what to do when the key is there already."""
    if conn.dialect.name == "postgresql":
        return postgresql.insert(table)
    return sqlite.insert(table)
