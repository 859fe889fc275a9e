from __future__ import annotations

import shutil
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest

from store import open_store
from tests.published.historian import Historian, recorded
from tests.published.readings import Reading, Work

Recorded = Callable[..., Historian]


@pytest.fixture(scope="session")
def empty_store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store that holds nothing: making its tables takes longer than to load most readings."""
    path = tmp_path_factory.mktemp("historian") / "bondtrail.db"
    open_store(f"sqlite:///{path}").close()
    return path


@pytest.fixture(scope="session")
def historian_of(empty_store: Path, tmp_path_factory: pytest.TempPathFactory) -> Recorded:
    """Return what loads and analyses readings in a store that holds nothing else."""

    def made(site: str, readings: Iterable[Reading], work: Iterable[Work] = ()) -> Historian:
        folder = tmp_path_factory.mktemp("historian")
        shutil.copy(empty_store, folder)
        return recorded(folder, site, readings, work)

    return made
