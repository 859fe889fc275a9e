"""Stores to test with. Making the tables takes longer than most tests, so it is done once."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from store import Store, open_store
from store.schema import METADATA
from tests.services import PostgresServer

BACKENDS = ["sqlite", "postgresql"]


@pytest.fixture(scope="session")
def made_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("made") / "store.db"
    open_store(f"sqlite:///{path}").close()
    return path


@pytest.fixture(scope="session")
def made_database(postgres: PostgresServer) -> str:
    url = postgres.new_database()
    open_store(url).close()
    return url


@pytest.fixture(params=BACKENDS)
def store_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of a store of either kind that holds nothing."""
    if request.param == "sqlite":
        return str(request.getfixturevalue("sqlite_url"))
    url = str(request.getfixturevalue("made_database"))
    with psycopg.connect(url) as connection:
        connection.execute("set session_replication_role = replica")  # past what guards the log
        for table in METADATA.tables:
            connection.execute(f'delete from "{table}"')
    return url


@pytest.fixture
def sqlite_url(made_file: Path, tmp_path: Path) -> str:
    """The address of a store in a file that holds nothing."""
    shutil.copy(made_file, tmp_path / "store.db")
    return f"sqlite:///{tmp_path / 'store.db'}"


@pytest.fixture(params=BACKENDS)
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of a database of either kind without any table."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'empty.db'}"
    return str(request.getfixturevalue("postgres_url"))


@pytest.fixture
def store(store_url: str) -> Iterator[Store]:
    with open_store(store_url) as opened:
        yield opened
