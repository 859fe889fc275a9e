from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import dash
import pytest
from argon2 import PasswordHasher
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from bondtrail import passwords
from dashboard import create_app
from dashboard.access import Access
from dashboard.access.throttle import Throttle
from dashboard.history import KEY, History
from store import Store, open_store

PASSWORD = "four grey clamps"
QUICK = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
"""In place of the settings that are safe, which are slow."""
NAMED = "board.example"
START_S = 1_773_000_000.0


@dataclass
class Clock:
    """The time that the board is told. [s]"""

    now_s: float = START_S

    def __call__(self) -> float:
        return self.now_s


@dataclass
class Visit:
    """A browser as far as the sign-in is concerned: it keeps cookies and fills in forms."""

    client: FlaskClient

    def token(self) -> str:
        page = self.client.get("/sign-in").get_data(as_text=True)
        return re.findall(r'name="token" value="([^"]+)"', page)[0]

    def sign_in(self, name: str, password: str = PASSWORD, back_to: str = "/") -> TestResponse:
        form = {"name": name, "password": password, "token": self.token(), "next": back_to}
        return self.client.post("/sign-in", data=form)

    def gets_in(self) -> bool:
        """Whether the board answers what its pages ask."""
        return self.client.get("/_dash-layout").status_code == 200


@pytest.fixture(scope="module")
def clock() -> Clock:
    return Clock()


@pytest.fixture(scope="module")
def guarded(clock: Clock, gone_url: str) -> dash.Dash:
    """A board that asks for signing in; Dash is slow to make one."""
    access = Access(sign_in=True, names=frozenset({NAMED}))
    return create_app(gone_url, access, clock)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file of a store in which Kim and Robin may sign in; to be copied."""
    file = tmp_path_factory.mktemp("people") / "bondtrail.db"
    with open_store(f"sqlite:///{file}") as store:
        for name in ("Kim Ode", "Robin"):
            store.users.add(name, QUICK.hash(PASSWORD), 0)
    return file


@pytest.fixture
def people(made: Path, tmp_path: Path) -> Iterator[Store]:
    """A store of those two."""
    shutil.copy(made, tmp_path)
    with open_store(f"sqlite:///{tmp_path / made.name}") as store:
        yield store


@pytest.fixture
def visit(
    guarded: dash.Dash, people: Store, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Callable[[], Visit]]:
    """Return a new visitor of the board over that store."""
    clock.now_s = START_S
    monkeypatch.setattr(Throttle, "wait_s", lambda *_: 0.0)
    monkeypatch.setattr(passwords, "_hasher", lambda: QUICK)
    where = people.where
    history = History(where)
    server = guarded.server
    server.config[KEY], server.secret_key = history, None
    yield lambda: Visit(server.test_client())
    history.close()
