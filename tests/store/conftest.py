from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from store import Store, open_store


@pytest.fixture(params=["sqlite", "postgresql"])
def store_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of an empty database of either kind."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'store.db'}"
    return str(request.getfixturevalue("postgres_url"))


@pytest.fixture
def store(store_url: str) -> Iterator[Store]:
    with open_store(store_url) as opened:
        yield opened
