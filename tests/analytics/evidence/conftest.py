"""A store with one transfer, and its packages: made once, because drawing takes a second.

Where nobody looks at the drawings a package is ``sketched``: what they depend on is in their place.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from analytics.evidence import Package, build
from analytics.evidence.signing import Ed25519PrivateKey
from store import Store, open_store
from tests.analytics.evidence import quay
from tests.analytics.evidence.forging import drawn

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


@pytest.fixture
def not_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("analytics.evidence.building.drawings", drawn)


@pytest.fixture(scope="session")
def sketched(quay_file: Path) -> Package:
    return _sketched(quay_file)


@pytest.fixture(scope="session")
def signed(quay_file: Path) -> Package:
    return _sketched(quay_file, KEY)


def _sketched(file: Path, key: Ed25519PrivateKey | None = None) -> Package:
    with pytest.MonkeyPatch.context() as patch, open_store(f"sqlite:///{file}") as store:
        patch.setattr("analytics.evidence.building.drawings", drawn)
        return build(store, quay.TRANSFER, key=key)
