"""The quay in a store, and its report, made once: nothing here changes them."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from analytics.reports import Period, Report, gather
from bondtrail.site import Site
from store import Store, open_store
from tests.analytics.reports import quay


@pytest.fixture(scope="session")
def quay_file(empty_store: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("quay") / "quay.db"
    shutil.copy(empty_store, path)
    with open_store(f"sqlite:///{path}") as store:
        quay.fill(store)
    return path


@pytest.fixture(scope="module")
def filled(quay_file: Path) -> Iterator[Store]:
    with open_store(f"sqlite:///{quay_file}") as store:
        yield store


@pytest.fixture(scope="session")
def site() -> Site:
    return quay.quay()


@pytest.fixture(scope="session")
def march() -> Period:
    return Period(quay.MARCH, quay.APRIL)


@pytest.fixture(scope="session")
def report(quay_file: Path, site: Site, march: Period) -> Report:
    with open_store(f"sqlite:///{quay_file}") as store:
        return gather(store, site, march, now=quay.NOW, by="week")
