"""A store of either kind that is opened once, and set back to what a test begins with.

Opening one costs more than most tests do: connections are made, and each statement is compiled
and planned anew. Filling it costs as much, so that is done once as well.
"""

from __future__ import annotations

import sqlite3
from abc import ABC, abstractmethod
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from store import Store, open_store
from store.recent import Recent
from store.schema import METADATA

Fill = Callable[[Store], object]


class Kept(ABC):
    """A store that is open, and the states that it can be set back to."""

    def __init__(self, url: str) -> None:
        self._store = open_store(url)
        self._fills: dict[str, Fill] = {}
        self._save("")

    def empty(self) -> Store:
        """Return the store, with nothing in it."""
        return self._set_back("")

    def holding(self, name: str, fill: Fill) -> Store:
        """Return the store with what ``fill`` puts into an empty one; it is remembered by name."""
        if name not in self._fills:
            fill(self.empty())
            self._save(name)
            self._fills[name] = fill
        assert self._fills[name] is fill, f"two tests fill {name!r} differently"
        return self._set_back(name)

    def close(self) -> None:
        self._store.close()

    def _set_back(self, name: str) -> Store:
        self._restore(name)
        self._store._db._recent = Recent()  # it knows rows by their ids, and those come again
        return self._store

    @abstractmethod
    def _save(self, name: str) -> None:
        """Save what the store holds."""

    @abstractmethod
    def _restore(self, name: str) -> None:
        """Put what was saved in the place of all that the store holds."""


class KeptFile(Kept):
    """In a file: what it holds is saved in memory."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._saved: dict[str, sqlite3.Connection] = {}
        super().__init__(f"sqlite:///{path}")

    def _save(self, name: str) -> None:
        self._saved[name] = sqlite3.connect(":memory:")
        with closing(sqlite3.connect(self._path)) as file:
            file.backup(self._saved[name])

    def _restore(self, name: str) -> None:
        with closing(sqlite3.connect(self._path)) as file:
            self._saved[name].backup(file)

    def close(self) -> None:
        super().close()
        for saved in self._saved.values():
            saved.close()


class KeptDatabase(Kept):
    """On PostgreSQL: what its tables hold is saved in tables beside them."""

    def __init__(self, url: str) -> None:
        self._filled: dict[str, list[str]] = {}
        super().__init__(url)

    def _save(self, name: str) -> None:
        with self._store._db._engine.begin() as conn:
            self._filled[name] = [
                table
                for table in METADATA.tables
                if conn.exec_driver_sql(f'select exists (select from "{table}")').scalar()
            ]
            for table in self._filled[name]:
                conn.exec_driver_sql(f'create table "{name} {table}" as table "{table}"')

    def _restore(self, name: str) -> None:
        steps = [
            "perform set_config('session_replication_role', 'replica', true)",  # past all guards
            *(f'delete from "{table}"' for table in METADATA.tables),
            *(f'insert into "{table}" table "{name} {table}"' for table in self._filled[name]),
        ]
        with self._store._db._engine.begin() as conn:
            conn.exec_driver_sql(f"do $$ begin {'; '.join(steps)}; end $$")
