"""The jobs of the schedule: who does which, and how the last run of each went.

Several processes may share a store, and each job is for one of them at a time. A claim says whose
turn it is. It ends with the process, however that ends: on PostgreSQL it is an advisory lock of a
connection of its own, on SQLite a lock on a file beside the database, which stays there empty.
"""

from __future__ import annotations

import errno
import hashlib
import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout
from sqlalchemy import Connection, select, text

from bondtrail.running import Job
from store.engine import Database, Transaction
from store.errors import StoreFullError, StoreUnavailableError
from store.schema import job
from store.texts import fit, plain, shortened
from store.upsert import upsert

SAID_BYTES = 4096
"""How much is kept of what a run came to."""

_NAME = re.compile(r"[a-z][a-z0-9-]{0,40}")
_TRY = text(
    "select pg_try_advisory_lock(:key),"
    " set_config('tcp_keepalives_idle', '30', false),"
    " set_config('tcp_keepalives_interval', '10', false)"
)
"""Watched so that the server sees within minutes that a machine is gone: by itself, in hours."""


class Jobs:
    """The jobs of a store. Every method raises a `StoreError` if the database does."""

    def __init__(self, db: Database) -> None:
        self._db = db

    @contextmanager
    def claim(self, name: str) -> Iterator[bool]:
        """Take a job for as long as the block lasts; say whether it was free.

        Nobody waits: whoever comes second is told False. A connection that is lost within the
        block gives the job free, and says nothing: what the job does with the store will say it.

        Parameters
        ----------
        name : str
            Small letters, digits and hyphens.

        Raises
        ------
        ValueError
            If the name is none.
        StoreError
            If it cannot be told whether the job is free.
        """
        if not _NAME.fullmatch(name):
            raise ValueError(f"job {name!r}: expected small letters, digits and hyphens")
        path = self._db.path
        with _by_file(self._db, path, name) if path else _by_connection(self._db, name) as is_mine:
            yield is_mine

    def begin(self, name: str, at: int, by: str, every_s: float | None = None) -> None:
        """Note that a run of a job begins.

        Parameters
        ----------
        name : str
            Its name.
        at : int
            When this is. [ns]
        by : str
            The process that runs it.
        every_s : float, optional
            How often that one does it. [s]
        """
        begun = {"started_ns": int(at), "run_by": fit(by), "every_s": plain(every_s)}
        with self._db.writing() as tx:
            _put(tx, name, begun)

    def end(self, name: str, at: int, said: str, failed: bool) -> None:
        """Note that a run of a job ended.

        Parameters
        ----------
        name : str
            As it began.
        at : int
            When this is. [ns]
        said : str
            What it came to, or why it failed.
        failed : bool
            Whether it did: failures in a row are counted.
        """
        ended: dict[str, Any] = {"ended_ns": int(at), "said": shortened(said, SAID_BYTES)}
        with self._db.writing() as tx:
            if failed:
                _put(tx, name, ended | {"failures": 1}, {"failures": job.c.failures + 1})
            else:
                _put(tx, name, ended | {"failures": 0, "succeeded_ns": int(at)})

    def all(self) -> list[Job]:
        """Return every job that ever ran, by name."""
        with self._db.reading() as tx:
            return [Job(*row) for row in tx.conn.execute(_ALL)]


def _put(
    tx: Transaction, name: str, told: dict[str, Any], anew: dict[str, Any] | None = None
) -> None:
    """Note something of a job; ``anew`` says what differs where it is known already."""
    blank = {"name": name, "failures": 0, "said": "", "run_by": ""}
    statement = upsert(tx.conn, job).values(blank | told)
    statement = statement.on_conflict_do_update(
        index_elements=[job.c.name], set_=told | (anew or {})
    )
    tx.conn.execute(statement)


_C = job.c
_ALL = select(
    _C.name,
    _C.started_ns,
    _C.ended_ns,
    _C.succeeded_ns,
    _C.failures,
    _C.said,
    _C.run_by,
    _C.every_s,
).order_by(_C.name)


@contextmanager
def _by_file(db: Database, path: Path, name: str) -> Iterator[bool]:
    if not path.parent.is_dir():  # FileLock would make the folder, and an empty store in it
        raise StoreUnavailableError(db.where, f"the folder {path.parent} is gone")
    lock = FileLock(path.with_name(f"{path.name}.{name}.lock"))
    try:
        lock.acquire(blocking=False)
    except Timeout:
        yield False
        return
    except OSError as exc:
        kind = StoreFullError if exc.errno in _NO_ROOM else StoreUnavailableError
        raise kind(db.where, f"no lock can be made beside it: {exc.strerror or exc}") from exc
    try:
        yield True
    finally:
        lock.release()


_NO_ROOM = (errno.ENOSPC, errno.EDQUOT)


@contextmanager
def _by_connection(db: Database, name: str) -> Iterator[bool]:
    with db.apart() as conn:
        is_mine = bool(conn.execute(_TRY, _key(name)).scalar())
        yield is_mine
        if is_mine:
            _give_back(conn, name)


def _give_back(conn: Connection, name: str) -> None:
    """Unlock at once; closing would too, but only once the server has noticed."""
    with suppress(Exception):
        conn.execute(text("select pg_advisory_unlock(:key)"), _key(name))


def _key(name: str) -> dict[str, int]:
    """Return the number of a lock; PostgreSQL keeps those of each database apart itself."""
    digest = hashlib.sha256(f"bondtrail job {name}".encode()).digest()
    return {"key": int.from_bytes(digest[:8], "big", signed=True)}
