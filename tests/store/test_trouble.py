"""A full disk and a locked database: a clear error, and a store that is as it was."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import psycopg
import pytest
from sqlalchemy import event
from sqlalchemy.engine import make_url

from bondtrail.samples import Samples
from store import (
    Store,
    StoreBusyError,
    StoreError,
    StoreFullError,
    StoreUnavailableError,
    Written,
    open_store,
)
from store.engine import translate

S = 10**9
T0 = 1_767_225_600 * S
POINT = "rail-1.resistance"
FEW = Samples.of([T0, T0 + S], [1.0, 2.0])


def noise(size: int) -> Samples:
    """Return samples that do not compress."""
    return Samples.of(T0 + S * np.arange(size), np.random.default_rng(1).random(size))


@contextmanager
def at_most(store: Store, pages: int) -> Iterator[None]:
    """Let the database grow by a few pages only: SQLite then says what it says of a full disk."""

    def limit(conn: object) -> None:
        now = conn.exec_driver_sql("pragma page_count").scalar()  # type: ignore[attr-defined]
        conn.exec_driver_sql(f"pragma max_page_count = {now + pages}")  # type: ignore[attr-defined]

    event.listen(store._db._engine, "begin", limit)
    yield
    event.remove(store._db._engine, "begin", limit)
    with store._db.writing() as tx:
        tx.conn.exec_driver_sql("pragma max_page_count = 1073741823")


@pytest.mark.parametrize("how", ["write", "bulk", "fold"])
def test_a_full_disk_is_named_and_the_store_is_as_it_was(sqlite_url: str, how: str) -> None:
    with open_store(sqlite_url) as store:
        store.write({POINT: FEW})
        if how == "fold":
            store.write({POINT: noise(30_000)})
        before = store.read(POINT), store.touched(), store.points()
        with at_most(store, 5):
            bulk = store.bulk(flush_rows=20_000)
            act = {
                "write": lambda: store.write({POINT: noise(30_000)}),
                "bulk": lambda: bulk.add(POINT, noise(30_000)),
                "fold": store.fold,
            }
            with pytest.raises(StoreFullError, match=r"store\.db: the disk is full: free some"):
                act[how]()
            assert (store.read(POINT), store.touched(), store.points()) == before
        if how == "bulk":
            bulk.flush()  # what it held is still there, and all of it goes in now
            assert bulk.written == Written(new=29_998, replaced=2)
        elif how == "write":
            act[how]()
        assert (store.fold(), store.check()) == ({"write": 2, "bulk": 0, "fold": 2}[how], [])
        assert len(store.read(POINT)) == 30_000


@pytest.fixture
def small_disk(tmp_path: Path, made_file: Path) -> Iterator[Path]:
    """A disk of a megabyte with a store on it."""
    folder = tmp_path / "disk"
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)]
    if shutil.which("mount") is None or subprocess.run(command, capture_output=True).returncode:
        pytest.skip("mounting a small disk takes rights that this user has not")
    try:
        shutil.copy(made_file, folder / "store.db")
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def test_a_disk_that_is_really_full_is_named(small_disk: Path) -> None:
    with open_store(f"sqlite:///{small_disk}/store.db") as store:
        store.write({POINT: FEW})
        stone = small_disk / "stone"
        stone.write_bytes(b"\0" * 500_000)
        with pytest.raises(StoreFullError, match="the disk is full"):
            store.write({POINT: noise(200_000)})
        assert store.read(POINT) == FEW
        stone.unlink()
        assert store.write({POINT: FEW}) == Written(repeated=2)
        assert store.check() == []


def test_a_disk_without_a_byte_left_is_named_as_the_store_is_opened(small_disk: Path) -> None:
    stone = small_disk / "stone"
    with pytest.raises(OSError, match="No space left"):
        stone.write_bytes(b"\0" * 2_000_000)
    with pytest.raises(StoreFullError, match="the disk is full"):
        open_store(f"sqlite:///{small_disk}/store.db")
    stone.unlink()
    with open_store(f"sqlite:///{small_disk}/store.db") as store:
        assert store.write({POINT: FEW}) == Written(new=2)


@pytest.mark.parametrize("how", ["write", "bulk", "fold", "touch", "rejects"])
def test_a_locked_database_is_named_and_the_store_is_as_it_was(sqlite_url: str, how: str) -> None:
    url = sqlite_url + "?timeout=0.05"
    with open_store(url) as store:
        store.write({POINT: FEW})
        bulk = store.bulk(flush_rows=10)
        act = {
            "write": lambda: store.write({POINT: noise(30)}),
            "bulk": lambda: bulk.add(POINT, noise(30)),
            "fold": store.fold,
            "touch": lambda: store.touch("rail-1", 0),
            "rejects": lambda: store.put_rejects([]),
        }
        other = sqlite3.connect(make_url(url).database or "", isolation_level=None)
        other.execute("begin exclusive")
        with pytest.raises(StoreBusyError, match=r"store\.db.*another program.*try again"):
            act[how]()
        assert store.read(POINT) == FEW  # readers wait for nobody
        other.execute("commit")
        other.close()
        act[how]()
        assert store.check() == []


def test_a_writer_waits_for_another(store_url: str) -> None:
    with open_store(store_url) as one, open_store(store_url) as other:
        with one._db.writing():
            waiting = threading.Thread(target=lambda: other.write({POINT: FEW}))
            waiting.start()
            waiting.join(0.2)
            assert waiting.is_alive()
            assert one.read(POINT) == Samples.empty()
        waiting.join(30)
        assert one.read(POINT) == FEW


def test_a_lock_of_postgresql_is_named(made_database: str) -> None:
    impatient = made_database + "?options=-c%20lock_timeout%3D50"
    with (
        open_store(made_database) as one,
        open_store(impatient) as other,
        one._db.writing(),
        pytest.raises(StoreBusyError, match="another program"),
    ):
        other.write({POINT: FEW})


@pytest.mark.parametrize(
    ("state", "kind"),
    [
        pytest.param("53100", StoreFullError, id="disk_full"),
        pytest.param("55P03", StoreBusyError, id="lock_not_available"),
        pytest.param("40P01", StoreBusyError, id="deadlock_detected"),
        pytest.param("57P01", StoreUnavailableError, id="admin_shutdown"),
        pytest.param("08006", StoreUnavailableError, id="connection_failure"),
        pytest.param("42P01", StoreError, id="undefined_table"),
    ],
)
def test_what_postgresql_says_is_said_in_our_words(state: str, kind: type[StoreError]) -> None:
    """The states are those of the PostgreSQL manual, appendix A: Error Codes."""
    origin = psycopg.errors.lookup(state)("what the server said")
    error = translate(origin, "postgresql://host/db")
    assert type(error) is kind
    assert str(error).startswith("postgresql://host/db: ")


def hang_up(url: str) -> None:
    """End every other connection to a database."""
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(
            "select pg_terminate_backend(pid) from pg_stat_activity "
            "where pid <> pg_backend_pid() and datname = current_database()"
        )


def test_a_connection_that_was_lost_is_made_again(made_database: str) -> None:
    with open_store(made_database) as store:
        hang_up(made_database)
        assert store.read("rail-9.flow") == Samples.empty()


def test_a_connection_that_is_lost_halfway_is_named(
    postgres_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_store(postgres_url) as store:
        monkeypatch.setattr("store.journal.append", lambda *_: hang_up(postgres_url))
        with pytest.raises(StoreUnavailableError, match="does not answer"):
            store.write({POINT: FEW})
        monkeypatch.undo()
        assert store.write({POINT: FEW}) == Written(new=2)
