"""Bring the tables of a store to the version that this Bondtrail knows."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, inspect, text

from store import schema
from store.engine import Database
from store.errors import NewerStoreError, NotAStoreError


def upgrade(db: Database) -> None:
    """Create the tables of an empty store, upgrade an older one, leave a current one alone.

    Raises
    ------
    NewerStoreError
        If a newer Bondtrail made the store; nothing is changed.
    NotAStoreError
        If the database holds tables, but not ours; nothing is changed.
    """
    with db.reading() as tx:
        if version_of(tx.conn) == schema.VERSION:
            return
    with db.writing() as tx:  # the lock: of two programs that start at once, one waits here
        found = version_of(tx.conn)
        if found == schema.VERSION:
            return
        if found is None:
            _refuse_foreign(tx.conn, tx.where)
        _migrate(tx.conn, tx.where, found)


def version_of(conn: Connection) -> str | None:
    """Return the version of the tables, or None if there are none of ours."""
    if not inspect(conn).has_table(schema.VERSION_TABLE):
        return None
    found = conn.execute(text(f"select version_num from {schema.VERSION_TABLE}")).scalar()
    return None if found is None else str(found)


def _refuse_foreign(conn: Connection, where: str) -> None:
    tables = sorted(set(inspect(conn).get_table_names()) - {schema.VERSION_TABLE})
    if tables:
        raise NotAStoreError(
            where,
            f"the database holds other tables ({', '.join(tables[:3])}): "
            "name an empty database, or a new file",
        )


def _migrate(conn: Connection, where: str, found: str | None) -> None:
    from alembic import command  # slow to import, and needed once in the life of a store
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    folder = str(Path(__file__).parent / "migrations")
    config.set_main_option("script_location", folder.replace("%", "%%"))
    config.attributes["connection"] = conn
    known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    if found is not None and found not in known:
        raise NewerStoreError(where, found, schema.VERSION)
    command.upgrade(config, "head")
