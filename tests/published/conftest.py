from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

import pytest

from tests.published.historian import Historian, recorded
from tests.published.readings import Reading, Work
from tests.statements import shared_statements

__all__ = ["shared_statements"]

Recorded = Callable[..., Historian]


@pytest.fixture(scope="session")
def historian_of(tmp_path_factory: pytest.TempPathFactory) -> Recorded:
    """Return what loads and analyses readings in an empty folder."""

    def made(site: str, readings: Iterable[Reading], work: Iterable[Work] = ()) -> Historian:
        folder: Path = tmp_path_factory.mktemp("historian")
        return recorded(folder, site, readings, work)

    return made
