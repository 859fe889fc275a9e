"""For whom the board is served: this machine alone, or others who sign in."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from bondtrail.cli import serve
from bondtrail.site import load_site
from dashboard.access import OPEN, Access
from store import open_store

Run = Callable[..., Any]

DB = "sqlite:///bondtrail.db"


@pytest.fixture(autouse=True)
def log_of_the_tests(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave the log to what runs the tests."""
    monkeypatch.setattr("bondtrail.logs.log_plainly", lambda: None)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, Access]]:
    """What the board was served with, host and terms; nothing is."""
    found: list[tuple[str, Access]] = []

    def served(_: str, *, access: Access, host: str, **__: object) -> None:
        found.append((host, access))

    monkeypatch.setattr("dashboard.serve", served)
    return found


@pytest.fixture
def filled(folder: Path, site_file: str) -> None:
    """A store with a site, and one user."""
    with open_store(DB) as store:
        store.put_site(load_site(folder / site_file), 0)
        store.users.add("Kim", "$argon2id$", 0)


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        ([], OPEN),
        (["--host", "localhost"], OPEN),
        (["--host", "::1"], OPEN),
        (["--host", "127.0.0.9"], OPEN),
        (["--host", "0.0.0.0"], Access(True)),
        (["--host", "::"], Access(True)),
        (["--host", "192.0.2.7"], Access(True, frozenset({"192.0.2.7"}))),
        (["--host", "Board.Example"], Access(True, frozenset({"board.example"}))),
        (
            ["--host", "0.0.0.0", "--name", "Board.Example", "--name", "[2001:DB8::1]"],
            Access(True, frozenset({"board.example", "2001:db8::1"})),
        ),
        (["--name", "board"], Access(True, frozenset({"127.0.0.1", "board"}))),
        (
            ["--name", "board", "--behind-proxy", "127.0.0.1"],
            Access(True, frozenset({"127.0.0.1", "board"}), "127.0.0.1"),
        ),
        (["--behind-proxy", "10.0.0.2"], Access(True, frozenset({"127.0.0.1"}), "10.0.0.2")),
    ],
)
def test_others_sign_in_and_this_machine_need_not(
    run: Run,
    filled: None,
    asked: list[tuple[str, Access]],
    arguments: list[str],
    expected: Access,
) -> None:
    told = run("serve", *arguments)
    assert told.status == 0
    assert [access for _, access in asked] == [expected]
    warned = "in clear text" in told.err
    assert warned is (expected.sign_in and expected.proxy is None)


def test_others_are_not_let_in_before_there_is_somebody_to_sign_in(
    run: Run, filled: None, asked: list[tuple[str, Access]]
) -> None:
    with open_store(DB) as store:
        store.users.disable("Kim", 1)
    told = run("serve", "--host", "0.0.0.0")
    assert told.status == 2
    assert "nobody yet who may sign in" in told.err
    assert "bondtrail user add NAME" in told.err
    assert asked == []


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--name", "http://board.example"], "that is no name of a machine"),
        (["--name", "board:8710"], "that is no name of a machine"),
        (["--name", ""], "that is no name of a machine"),
        (["--behind-proxy", "proxy.example"], "that is no address"),
        (["--behind-proxy", "*"], "that is no address"),
    ],
)
def test_a_name_or_an_address_that_is_none_is_told(
    run: Run, filled: None, asked: list[tuple[str, Access]], arguments: list[str], said: str
) -> None:
    told = run("serve", *arguments)
    assert told.status == 2
    assert said in told.err
    assert asked == []


def test_a_port_that_is_taken_is_told(
    run: Run, filled: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    def taken(*_: object, **__: object) -> None:
        raise OSError(98, "Address already in use")

    monkeypatch.setattr("dashboard.serve", taken)
    told = run("serve", "--port", "8799")
    assert told.status == 2
    assert "port 8799" in told.err
    assert serve.DEFAULT_PORT == 8710
