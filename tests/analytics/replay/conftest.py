"""A store with the rail spot in it, made once."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from store import Store, open_store
from tests.analytics.replay.spot import fill


@pytest.fixture(scope="session")
def spot_file(empty_store: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("replayed") / "spot.db"
    shutil.copy(empty_store, path)
    with open_store(f"sqlite:///{path}") as store:
        fill(store)
    return path


@pytest.fixture
def spot(spot_file: Path, tmp_path: Path) -> Iterator[Store]:
    """The rail spot, in a store that a test may change."""
    path = tmp_path / "spot.db"
    shutil.copy(spot_file, path)
    with open_store(f"sqlite:///{path}") as store:
        yield store
