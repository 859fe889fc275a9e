"""One memory of SQL for all stores of a test run.

A store writes each statement out once and knows it from then on. A test that opens a store of its
own would pay for that again: it took a third of the time of the tests that analyse.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any

import pytest
from sqlalchemy import create_engine
from sqlalchemy.sql.compiler import Compiled
from sqlalchemy.util import LRUCache

from store import engine


class Statements(LRUCache[Any, Compiled]):
    """What was written out, by the kind of database instead of by the one that asked first.

    No statement of the store depends on the version or the settings of a server: one that did would
    need those in the key.
    """

    def get(self, key: Any, default: Any = None) -> Any:
        return super().get(_of_kind(key), default)

    def __setitem__(self, key: Any, value: Compiled) -> None:
        super().__setitem__(_of_kind(key), value)


def _of_kind(key: Any) -> tuple[Any, ...]:
    dialect, *statement = key
    return (dialect.name, dialect.driver, *statement)


@pytest.fixture(scope="session", autouse=True)
def shared_statements() -> Iterator[None]:
    """Have every store that is opened know what others wrote out before."""
    options = {"compiled_cache": Statements(1000)}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(engine, "create_engine", partial(create_engine, execution_options=options))
        yield
