"""The way to the database: one code path for SQLite and PostgreSQL, and errors of our own.

Writers take one lock for the whole store (SQLite has no other; on PostgreSQL it is an advisory
lock), so commits have an order and the ids of the journal tell it. Readers wait for nobody:
each reads one snapshot.
"""

from __future__ import annotations

import os
import sqlite3
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError, DBAPIError, SQLAlchemyError

from store.errors import (
    NotAStoreError,
    StoreBusyError,
    StoreError,
    StoreFullError,
    StoreRefusedError,
    StoreUnavailableError,
)
from store.recent import Recent

WAIT_S = 30.0
"""How long to wait for another writer, unless the URL says ``?timeout=`` (SQLite)."""
STATEMENT_S = 60.0
"""How long one statement of a batch that came in may take on PostgreSQL."""
_LINE = {
    "connect_timeout": 10,  # s
    "keepalives_idle": 30,  # s
    "keepalives_interval": 10,  # s
    "keepalives_count": 3,
    "tcp_user_timeout": 60_000,  # ms
}
"""When to give up on a PostgreSQL whose machine or network is gone without a word: the system would
wait for hours. The URL may say otherwise of each."""

_WRITE_LOCK = 0x626F6E6474726169  # of this database only; any constant that nobody else takes
_WRITES = "bondtrail_writes"
_TURN = text("select pg_advisory_xact_lock(:key)")
# Of this transaction only, and in one go: each commit would wait for one more answer.
_LIMITED_TURN = text(
    "select pg_advisory_xact_lock(:key), set_config('statement_timeout', :most, true)"
)

_SQLITE_ERRORS: dict[int, tuple[type[StoreError], str]] = {
    5: (StoreBusyError, "another program keeps it locked: close that one, or try again later"),
    6: (StoreBusyError, "another program keeps it locked: close that one, or try again later"),
    8: (StoreUnavailableError, "it may not be written: check the rights on the file and folder"),
    10: (
        StoreUnavailableError,
        "its disk fails, or the quota of this user is used up: see to that and repeat",
    ),
    11: (
        StoreUnavailableError,
        "the database file is damaged: restore it from a backup",
    ),
    13: (
        StoreFullError,
        "the disk is full: free some space and repeat; what was committed before is safe",
    ),
    14: (StoreUnavailableError, "it cannot be opened: check that the folder exists and its rights"),
    26: (NotAStoreError, "it is no database: name another file, or move this one away"),
}
_POSTGRES_ERRORS: dict[str, tuple[type[StoreError], str]] = {
    "53100": _SQLITE_ERRORS[13],
    "55P03": _SQLITE_ERRORS[5],
    "57014": (StoreBusyError, "it takes too long: see what keeps the database, or try again later"),
    "40P01": _SQLITE_ERRORS[5],
    "40001": _SQLITE_ERRORS[5],
}


@dataclass(frozen=True, slots=True)
class Transaction:
    """A connection inside a transaction, and what is needed beside it."""

    conn: Connection
    pool: ThreadPoolExecutor
    where: str
    recent: Recent


class Database:
    """A database that is ready for transactions. It knows nothing of what is in it."""

    def __init__(self, url: str) -> None:
        parsed, self.where = _parse(url)
        is_file = parsed.get_backend_name() == "sqlite"
        self.path = Path(parsed.database or "").absolute() if is_file else None
        """The file that it is, if it is one."""
        self.pool = ThreadPoolExecutor(min(4, os.cpu_count() or 1), "store")
        self._engine = create_engine(parsed, **_engine_options(parsed))
        self._held = threading.local()
        self._recent = Recent()
        if self.path is not None:
            self._reader, self._writer = _sqlite_engines(self._engine, self.path, self.where)
        else:
            self._writer = self._engine
            self._reader = self._engine.execution_options(
                isolation_level="REPEATABLE READ", postgresql_readonly=True
            )

    @contextmanager
    def reading(self) -> Iterator[Transaction]:
        """Open a transaction that sees one snapshot and waits for nobody.

        In a `snapshot` it is that one's.
        """
        held: Transaction | None = getattr(self._held, "transaction", None)
        if held is not None:
            with self._translated():
                yield held
            return
        with self._translated(), self._reader.begin() as conn:
            yield self._transaction(conn)

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """Have every `reading` of this thread see the state of the first one."""
        with self.reading() as transaction:
            outer = getattr(self._held, "transaction", None)
            self._held.transaction = transaction
            try:
                yield
            finally:
                self._held.transaction = outer

    @contextmanager
    def writing(self, *, statement_s: float | None = None) -> Iterator[Transaction]:
        """Open a transaction that is the only writer; it commits at the end, or not at all.

        ``statement_s`` is how long each statement may take then, on PostgreSQL; no end when None.
        """
        with self._translated(), self._writer.begin() as conn:
            if conn.dialect.name == "postgresql":
                _take_turn(conn, statement_s)
            yield self._transaction(conn)

    def _transaction(self, conn: Connection) -> Transaction:
        return Transaction(conn, self.pool, self.where, self._recent)

    @contextmanager
    def apart(self) -> Iterator[Connection]:
        """Open a connection of its own, outside of any transaction; what it held ends with it."""
        with self._translated():
            conn = self._engine.connect().execution_options(isolation_level="AUTOCOMMIT")
            conn.detach()
        try:
            with self._translated():
                yield conn
        finally:
            with suppress(Exception):  # it may be lost by now, which is an end of it too
                conn.close()

    def probe(self) -> None:
        """Write next to nothing, without waiting; raise a `StoreError` if that cannot be."""
        if self.path is not None:
            with suppress(StoreBusyError), self._translated():
                _touch_file(self.path)
        else:
            with self.apart() as conn:
                if conn.execute(text("show transaction_read_only")).scalar() == "on":
                    raise StoreUnavailableError(self.where, "it may be read only, not written")
                conn.execute(text("select txid_current()"))  # a standby has none to give

    def close(self) -> None:
        """Give back threads and connections."""
        self.pool.shutdown()
        with self._translated():
            self._engine.dispose()

    @contextmanager
    def _translated(self) -> Iterator[None]:
        driver_error = self._engine.dialect.loaded_dbapi.Error
        try:
            yield
        except (SQLAlchemyError, driver_error) as exc:
            raise translate(exc, self.where) from exc


def _take_turn(conn: Connection, statement_s: float | None) -> None:
    """Wait for whoever else writes; give each statement from here on so long at most."""
    if statement_s is None:
        conn.execute(_TURN, {"key": _WRITE_LOCK})
    else:
        conn.execute(_LIMITED_TURN, {"key": _WRITE_LOCK, "most": f"{statement_s * 1000:.0f}"})


_NOT_LET_IN = (
    "password authentication failed",
    "no password supplied",
    "no pg_hba.conf entry",
    "FATAL: role ",
    "is not permitted to log in",
    "permission denied for database",
)
"""What PostgreSQL says to whom it does not let in: the driver gives no code for that.

A database that is not there is none of it: one that is being restored comes back.
"""


def translate(exc: BaseException, where: str) -> StoreError:
    """Return the error of ours that says what a database or driver meant."""
    origin = exc.orig if isinstance(exc, DBAPIError) else exc
    code = getattr(origin, "sqlite_errorcode", None)
    state = getattr(origin, "sqlstate", None)
    known: tuple[type[StoreError], str] | None
    if code is not None and _no_room_left(code, where):
        known = _SQLITE_ERRORS[13]
    elif code is not None:
        known = _SQLITE_ERRORS.get(code & 0xFF)
    else:
        known = _POSTGRES_ERRORS.get(str(state))
    if known is not None:
        return known[0](where, known[1])
    detail = " ".join(str(origin).split())
    kinds = {kind.__name__ for kind in type(origin).__mro__}
    if code is None and state is None and any(word in detail for word in _NOT_LET_IN):
        return StoreRefusedError(
            where,
            "the database does not let us in: see to its user and name, and to the password in "
            f"BONDTRAIL_DB_PASSWORD or the file that BONDTRAIL_DB_PASSWORD_FILE names"
            f" ({_shortened(detail)})",
        )
    if code is None and kinds & {"OperationalError", "InterfaceError"}:
        return StoreUnavailableError(
            where,
            "the database does not answer: check that it runs, and its host, port, name and user"
            f" ({_shortened(detail)})",
        )
    return StoreError(where, f"the database refused: {detail}")


def _shortened(detail: str, most: int = 160) -> str:
    return detail if len(detail) <= most else f"{detail[: most - 3]}..."


def is_damaged_page(exc: DBAPIError) -> bool:
    """Tell whether SQLite found a page that makes no sense, as against any other trouble."""
    code = getattr(exc.orig, "sqlite_errorcode", None)
    return code is not None and code & 0xFF == 11


def _no_room_left(code: int, where: str) -> bool:
    """Tell whether an I/O error of SQLite (10) is a full disk, which it does not always say."""
    if code & 0xFF != 10:
        return False
    folder = Path(make_url(where).database or "").parent
    try:
        return os.statvfs(folder).f_bavail < 16
    except OSError:
        return False


def _parse(url: str) -> tuple[URL, str]:
    """Return the address with its driver, and as it may be shown."""
    try:
        parsed = make_url(url)
        backend = parsed.get_backend_name()
    except (ArgumentError, SQLAlchemyError, ValueError) as exc:
        raise StoreError("store", _wrong_url()) from exc
    shown = parsed.render_as_string(hide_password=True)
    if backend == "postgresql":
        return parsed.set(drivername="postgresql+psycopg"), shown
    if backend != "sqlite":
        raise StoreError(shown, _wrong_url())
    unknown = sorted(set(parsed.query) - {"timeout"})
    if unknown:
        raise StoreError(shown, f"{unknown[0]!r} is no option of a SQLite store: only timeout is")
    if not parsed.database or parsed.database == ":memory:":
        raise StoreError(shown, "a store must be a file: write sqlite:///bondtrail.db")
    return parsed.set(drivername="sqlite"), shown


def _wrong_url() -> str:
    return (
        "that is no address of a store: write sqlite:///bondtrail.db, "
        "or postgresql://USER@HOST/DATABASE"
    )


def _engine_options(url: URL) -> dict[str, Any]:
    if url.get_backend_name() == "sqlite":
        return {"connect_args": {} if "timeout" in url.query else {"timeout": WAIT_S}}
    line = {key: value for key, value in _LINE.items() if key not in url.query}
    arguments: dict[str, Any] = {"cursor_factory": _binary_cursor(), **line}
    if "options" not in url.query:
        arguments["options"] = f"-c lock_timeout={round(WAIT_S * 1000)}"
    return {"pool_pre_ping": True, "connect_args": arguments}


def _binary_cursor() -> type:
    """Return a cursor that fetches blocks as bytes: as hexadecimal text they take twice as long."""
    import psycopg  # only where PostgreSQL is used

    class BinaryCursor(psycopg.Cursor[Any]):
        def __init__(self, *given: Any, **named: Any) -> None:
            super().__init__(*given, **named)
            self.format = psycopg.pq.Format.BINARY

    return BinaryCursor


def _sqlite_engines(engine: Engine, path: Path, where: str) -> tuple[Engine, Engine]:
    """Return engines for reading and writing that say BEGIN themselves.

    Left to itself the driver begins a transaction only before a change, so two reads would see
    two states; and a transaction that begins by reading cannot always become a writing one. And
    it writes on into a file that was deleted meanwhile, where nobody finds it again.
    """
    was_there = False

    @event.listens_for(engine, "do_connect")
    def look(*_: Any) -> None:
        if was_there and _identity(path) is None:  # SQLite would make an empty one
            raise _gone(where)

    @event.listens_for(engine, "connect")
    def prepare(connection: Any, record: Any) -> None:
        nonlocal was_there
        connection.isolation_level = None
        _write_ahead(connection)
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA journal_size_limit = 67108864")
        record.info[_FILE] = _identity(path)
        was_there = True

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        if connection.info[_FILE] != _identity(path):
            connection.invalidate()  # the next one opens the file that is there by then
            raise _gone(where)
        writes = connection.get_execution_options().get(_WRITES)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine, engine.execution_options(**{_WRITES: True})


_FILE = "bondtrail_file"


def _identity(path: Path) -> tuple[int, int] | None:
    """Return what tells a file from any other that may come to have its name."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _gone(where: str) -> StoreUnavailableError:
    return StoreUnavailableError(
        where, "the file is gone, or another is in its place: put it back; nothing was stored"
    )


def _touch_file(path: Path) -> None:
    """Commit a change of nothing to a SQLite file that must be there."""
    with closing(
        sqlite3.connect(f"{path.as_uri()}?mode=rw", uri=True, timeout=0.0, isolation_level=None)
    ) as connection:
        connection.execute("begin immediate")
        connection.execute("pragma user_version = 0")  # it is 0: the page is written all the same
        connection.execute("commit")


def _write_ahead(connection: Any) -> None:
    """Turn write-ahead logging on; the switch does not wait for a lock by itself."""
    give_up = time.monotonic() + connection.execute("PRAGMA busy_timeout").fetchone()[0] / 1000
    while connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        try:
            connection.execute("PRAGMA journal_mode = WAL")
        except Exception as exc:
            busy = getattr(exc, "sqlite_errorcode", None) in (5, 6)
            if not busy or time.monotonic() > give_up:
                raise
            time.sleep(0.02)
