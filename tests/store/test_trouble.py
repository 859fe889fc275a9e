"""A full disk, a locked database, one that is gone: a clear error, and a store as it was."""

from __future__ import annotations

import errno
import shutil
import sqlite3
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import replace
from pathlib import Path

import numpy as np
import psycopg
import pytest
from sqlalchemy import event
from sqlalchemy.engine import make_url

from bondtrail.results import Reject
from bondtrail.running import Source
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
from tests.services import PostgresServer

S = 10**9
T0 = 1_767_225_600 * S
POINT = "rail-1.resistance"
FEW = Samples.of([T0, T0 + S], [1.0, 2.0])


HASH = "$argon2id$v=19$m=65536,t=3,p=4$c29tZXNhbHQ$aGFzaA"


def of_a_service(store: Store) -> dict[str, Callable[[], object]]:
    """Return what a running service does with a store beside writing and reading samples."""
    rejects = [Reject("mqtt", "topic a", "r", "x" * 400, T0)]
    rejects = [replace(rejects[0], where=str(n)) for n in range(99)]
    return {
        "begin": lambda: store.jobs.begin("fold", time.time_ns(), "host:1"),
        "end": lambda: store.jobs.end("fold", T0, "done", failed=False),
        "jobs": store.jobs.all,
        "rejects": lambda: store.write({}, rejects=rejects),
        "sources": lambda: store.write({}, sources=[Source("s" * 400, 1, T0)]),
        "heard": store.sources,
        "add": lambda: store.users.add("Kim", HASH, T0),
        "find": lambda: store.users.find("Kim"),
        "password": lambda: store.users.set_password("Kim", HASH, T0),
        "rehash": lambda: store.users.rehash("Kim", HASH, HASH),
        "disable": lambda: store.users.disable("Kim", T0),
        "sign out": lambda: store.users.sign_out("k" * 43, at=T0, until=T0 + S),
        "signed out": lambda: store.users.is_signed_out("k"),
        "secret": store.secret_key,
        "probe": store.probe,
        "claim": lambda: claimed(store),
    }


def claimed(store: Store) -> bool:
    with store.jobs.claim("fold") as is_mine:
        return is_mine


def empty_the_log(path: Path) -> None:
    """Put what was committed into the file itself, so that whatever comes next needs room."""
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("pragma wal_checkpoint(truncate)")


def fill_up(stone: Path) -> None:
    with stone.open("wb", 0) as file, suppress(OSError):
        while True:
            file.write(b"\0" * 4096)


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


def test_a_disk_without_room_is_named_whatever_a_service_does(small_disk: Path) -> None:
    with open_store(f"sqlite:///{small_disk}/store.db") as store:
        for act in of_a_service(store).values():
            act()
        empty_the_log(small_disk / "store.db")
        stone = small_disk / "stone"
        fill_up(stone)
        for name in ("begin", "rejects", "probe"):
            with pytest.raises(StoreFullError, match="the disk is full"):
                of_a_service(store)[name]()
        stone.unlink()
        of_a_service(store)["begin"]()
        store.probe()
        assert store.rejects()[0].count == 1
        assert store.check() == []


def test_a_disk_without_room_for_a_lock_is_named(
    sqlite_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("store.jobs.FileLock.acquire", refuse)
    with open_store(sqlite_url) as store, pytest.raises(StoreFullError, match="No space left"):
        claimed(store)


def test_a_file_that_vanished_is_named_whatever_is_done_and_nothing_goes_astray(
    sqlite_url: str, tmp_path: Path
) -> None:
    """SQLite itself would write on, to a file that nobody finds again."""
    path, elsewhere = tmp_path / "store.db", tmp_path / "elsewhere.db"
    with open_store(sqlite_url) as store:
        store.write({POINT: FEW})
        path.rename(elsewhere)
        acts = of_a_service(store) | {
            "write": lambda: store.write({POINT: noise(30)}),
            "read": lambda: store.read(POINT),
            "fold": store.fold,
        }
        del acts["claim"]  # which looks at the folder alone
        for act in acts.values():
            with pytest.raises(StoreUnavailableError):
                act()
        with pytest.raises(StoreUnavailableError, match=r"the file is gone.*put it back"):
            store.write({POINT: noise(30)})
        assert not path.exists()
        elsewhere.rename(path)
        assert store.read(POINT) == FEW
        assert store.write({POINT: noise(30)}).new == 28


def test_a_store_that_another_was_put_in_the_place_of_is_not_written_to(
    sqlite_url: str, made_file: Path, tmp_path: Path
) -> None:
    with open_store(sqlite_url) as store:
        store.write({POINT: FEW})
        empty_the_log(tmp_path / "store.db")  # it would be the other's
        (tmp_path / "store.db").rename(tmp_path / "elsewhere.db")
        shutil.copy(made_file, tmp_path / "store.db")
        with pytest.raises(StoreUnavailableError, match="another is in its place"):
            store.write({POINT: noise(30)})
        assert store.read(POINT) == Samples.empty()  # from then on it is that one's


def test_a_database_that_vanished_is_named_whatever_a_service_does(
    postgres_url: str, postgres: PostgresServer
) -> None:
    with open_store(postgres_url) as store:
        with psycopg.connect(postgres.url(), autocommit=True) as connection:
            name = make_url(postgres_url).database
            connection.execute(f"drop database {name} with (force)")
        for act in of_a_service(store).values():
            with pytest.raises(StoreUnavailableError, match="does not answer"):
                act()


def test_a_store_that_another_keeps_busy_can_be_written(store_url: str) -> None:
    with open_store(store_url) as one, open_store(store_url) as other, one._db.writing():
        other.probe()


def test_a_database_that_may_only_be_read_is_named(postgres_url: str) -> None:
    with open_store(postgres_url) as store:
        store.probe()
        with psycopg.connect(postgres_url, autocommit=True) as connection:
            name = make_url(postgres_url).database
            connection.execute(f"alter database {name} set default_transaction_read_only = on")
        hang_up(postgres_url)
        with pytest.raises(StoreUnavailableError, match="read only"):
            store.probe()


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
        waiting.join(60)
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
