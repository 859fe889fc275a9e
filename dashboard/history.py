"""Where the board reads from: one store, opened when first asked and again after a failure."""

from __future__ import annotations

from threading import Lock

from flask import current_app

from store import Store, StoreError, open_store

KEY = "BONDTRAIL_HISTORY"


class History:
    """The store behind a board; safe to ask from several threads."""

    def __init__(self, url: str) -> None:
        self.url = url
        self._lock = Lock()
        self._store: Store | None = None

    def store(self) -> Store:
        """Return the open store.

        Raises
        ------
        StoreError
            If it cannot be opened now. The next call tries again.
        """
        with self._lock:
            if self._store is None:
                self._store = open_store(self.url)
            return self._store

    def close(self) -> None:
        """Let go of the store."""
        with self._lock:
            store, self._store = self._store, None
        if store is not None:
            store.close()


def current_store() -> Store:
    """Return the store of the board that is answering; StoreError if it cannot be opened."""
    history: History = current_app.config[KEY]
    return history.store()


__all__ = ["KEY", "History", "StoreError", "current_store"]
