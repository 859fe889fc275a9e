"""Stores to test with. Making the tables takes longer than most tests, so it is done once."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from store import Store, open_store
from tests.services import PostgresServer
from tests.store.keeping import Kept, KeptDatabase, KeptFile

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


@pytest.fixture(scope="session")
def kept_file(made_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Kept]:
    path = shutil.copy(made_file, tmp_path_factory.mktemp("kept") / "store.db")
    kept = KeptFile(path)
    yield kept
    kept.close()


@pytest.fixture(scope="session")
def kept_database(made_database: str) -> Iterator[Kept]:
    kept = KeptDatabase(made_database)
    yield kept
    kept.close()


@pytest.fixture(params=BACKENDS)
def kept_store(request: pytest.FixtureRequest) -> Kept:
    """A store of either kind that stays open from test to test."""
    name = "kept_file" if request.param == "sqlite" else "kept_database"
    opened: Kept = request.getfixturevalue(name)
    return opened


@pytest.fixture
def store(kept_store: Kept) -> Store:
    """A store of either kind that holds nothing."""
    return kept_store.empty()


@pytest.fixture(params=BACKENDS)
def store_url(request: pytest.FixtureRequest) -> str:
    """The address of a store of either kind that holds nothing, to open it."""
    if request.param == "sqlite":
        return str(request.getfixturevalue("sqlite_url"))
    request.getfixturevalue("kept_database").empty()
    return str(request.getfixturevalue("made_database"))


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
