"""A store to analyse. Making its tables takes longer than most tests, so it is done once."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from store import Store, open_store


@pytest.fixture(scope="session")
def empty_store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("analysed") / "empty.db"
    open_store(f"sqlite:///{path}").close()
    return path


@pytest.fixture
def store_file(empty_store: Path, tmp_path: Path) -> Path:
    path = tmp_path / "store.db"
    shutil.copy(empty_store, path)
    return path


@pytest.fixture
def store(store_file: Path) -> Iterator[Store]:
    with open_store(f"sqlite:///{store_file}") as opened:
        yield opened
