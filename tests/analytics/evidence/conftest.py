"""A store with one transfer, and its packages: made once, because drawing takes a second."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from analytics.evidence import Package, build
from analytics.evidence.signing import Ed25519PrivateKey
from store import Store, open_store
from tests.analytics.evidence import quay

KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))


@pytest.fixture(scope="session")
def quay_file(tmp_path_factory: pytest.TempPathFactory, empty_store: Path) -> Path:
    path = tmp_path_factory.mktemp("quay") / "quay.db"
    shutil.copy(empty_store, path)
    with open_store(f"sqlite:///{path}") as store:
        quay.fill(store)
    return path


@pytest.fixture
def quay_store(quay_file: Path, tmp_path: Path) -> Iterator[Store]:
    """A store of one's own, to change."""
    path = tmp_path / "own.db"
    shutil.copy(quay_file, path)
    with open_store(f"sqlite:///{path}") as store:
        yield store


@pytest.fixture(scope="session")
def made(quay_file: Path) -> Package:
    with open_store(f"sqlite:///{quay_file}") as store:
        return build(store, quay.TRANSFER)


@pytest.fixture(scope="session")
def signed(quay_file: Path) -> Package:
    with open_store(f"sqlite:///{quay_file}") as store:
        return build(store, quay.TRANSFER, key=KEY)
