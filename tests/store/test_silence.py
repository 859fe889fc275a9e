"""A PostgreSQL that does not answer is given up in the end."""

from __future__ import annotations

import socket

import pytest
from sqlalchemy import text

from store import StoreBusyError, StoreUnavailableError, engine, open_store
from store.engine import Database


def test_a_server_that_says_nothing_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(engine._LINE, "connect_timeout", 2)
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        with pytest.raises(StoreUnavailableError, match="does not answer"):
            open_store(f"postgresql://ann@127.0.0.1:{port}/plant")


def test_a_line_that_goes_dead_is_noticed(postgres_url: str) -> None:
    database = Database(f"{postgres_url}?keepalives_count=7")
    try:
        with database.reading() as tx:
            driver = tx.conn.connection.driver_connection
            assert driver is not None
            told = driver.info.get_parameters()
    finally:
        database.close()
    assert {key: told[key] for key in engine._LINE} == {
        "connect_timeout": "10",
        "keepalives_idle": "30",
        "keepalives_interval": "10",
        "keepalives_count": "7",
        "tcp_user_timeout": "60000",
    }


def test_a_statement_of_a_batch_may_not_take_for_ever(postgres_url: str) -> None:
    database = Database(postgres_url)
    try:
        with (
            pytest.raises(StoreBusyError, match="takes too long"),
            database.writing(statement_s=0.1) as tx,
        ):
            tx.conn.execute(text("select pg_sleep(60)"))
        with database.writing() as tx:
            assert tx.conn.execute(text("show statement_timeout")).scalar() == "0"
    finally:
        database.close()
