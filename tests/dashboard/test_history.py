"""The store behind a board: opened when asked, and again after a failure."""

from __future__ import annotations

from pathlib import Path

import pytest

from dashboard.history import History
from store import StoreError, open_store
from tests.dashboard.conftest import sqlite_url


def test_a_store_that_comes_back_is_opened(tmp_path: Path) -> None:
    history = History(sqlite_url(tmp_path / "later"))
    with pytest.raises(StoreError):
        history.store()
    (tmp_path / "later").mkdir()
    open_store(history.url).close()
    assert history.store().sites() == []
    history.close()


def test_one_store_is_opened_and_shared(empty_url: str) -> None:
    history = History(empty_url)
    assert history.store() is history.store()
    history.close()
    history.close()
