"""Who may sign in: added, listed, disabled and given passwords, of which nothing is shown."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from argon2 import PasswordHasher

from bondtrail.cli import opening
from bondtrail.passwords import is_password
from bondtrail.times import parse_time
from store import open_store
from tests.bondtrail.cli.conftest import Run

DB = "sqlite:///bondtrail.db"
FIRST, SECOND = "four grey clamps", "five green cables"
NOW = parse_time("2026-03-10T00:00:00Z")


@pytest.fixture(autouse=True)
def still_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "clock_ns", lambda: NOW)


@pytest.fixture(autouse=True)
def quickly_hashed(monkeypatch: pytest.MonkeyPatch) -> None:
    """In place of the settings that take a tenth of a second on purpose."""
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr("bondtrail.passwords._hasher", lambda: quick)


@pytest.fixture
def file(folder: Path) -> Path:
    """A file with the first password."""
    path = folder / "password.txt"
    path.write_text(f"{FIRST}\nand a second line\n", encoding="utf-8")
    return path


def kept(name: str) -> str:
    with open_store(DB) as store:
        found = store.users.find(name)
    assert found is not None
    return found.hash


def test_a_user_is_added_listed_disabled_and_let_in_again(run: Run, file: Path) -> None:
    added = run("user", "add", "A. Reed", "--password-file", str(file))
    assert (added.status, added.out) == (0, "A. Reed may sign in.\n")
    assert is_password(FIRST, kept("A. Reed"))
    assert run("user", "list", "--format", "json").json == [
        {
            "name": "A. Reed",
            "added": "2026-03-10T00:00:00.000Z",
            "changed": "2026-03-10T00:00:00.000Z",
            "disabled": False,
        }
    ]
    assert run("user", "disable", "a. reed").out.startswith("A. Reed may sign in no longer.")
    assert "NO, disabled" in run("user", "list").out
    assert run("user", "list", "--format", "csv").out.splitlines()[1].endswith(",true")
    file.write_text(f"{SECOND}\r\n", encoding="utf-8")
    changed = run("user", "password", "A. REED", "--password-file", str(file))
    assert changed.out.startswith("A. Reed has another password")
    assert is_password(SECOND, kept("A. Reed"))
    assert "NO, disabled" not in run("user", "list").out


def test_no_part_of_a_password_is_ever_printed(run: Run, file: Path) -> None:
    told = [
        run("user", "add", "Kim", "--password-file", str(file)),
        run("user", "add", "Kim", "--password-file", str(file)),
        run("user", "list"),
        run("user", "list", "--format", "json"),
    ]
    for outcome in told:
        assert "grey" not in outcome.out + outcome.err
        assert "argon2" not in outcome.out + outcome.err


def test_without_users_the_list_says_what_that_means(run: Run) -> None:
    open_store(DB).close()
    assert run("user", "list").out == "No users. Without one the board serves this machine alone.\n"
    assert run("user", "list", "--format", "json").json == []


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["add", "kim"], "there is a user kim already"),
        (["add", "KIM", "--password-file", "good"], "there is a user KIM already"),
        (["add", " ", "--password-file", "good"], "name"),
        (["add", "Robin"], "there is no terminal to ask for a password on"),
        (["add", "Robin", "--password-file", "short"], "fewer than 12 characters"),
        (["add", "Robin", "--password-file", "empty"], "fewer than 12 characters"),
        (["add", "Robin", "--password-file", "long"], "more than 1,024 characters"),
        (["add", "Robin", "--password-file", "latin"], "latin: the password is not written in UTF"),
        (["add", "Robin", "--password-file", "none"], "none: No such file"),
        (["password", "Kin", "--password-file", "good"], "there is no user Kin"),
        (["disable", "Kin"], "Did you mean Kim?"),
        (["disable"], "Missing argument"),
    ],
)
def test_what_cannot_be_done_is_told(
    run: Run, folder: Path, arguments: list[str], said: str
) -> None:
    for name, text in {
        "good": FIRST,
        "short": "sesame",
        "empty": "",
        "long": "x" * 9000,
    }.items():
        (folder / name).write_text(text, encoding="utf-8")
    (folder / "latin").write_bytes("gr\u00fcne Klemmen".encode("latin-1"))
    with open_store(DB) as store:
        store.users.add("Kim", "$argon2id$", 0)
    told = run("user", *arguments)
    assert told.status == 2
    assert said in told.err
    assert told.err.count("\n") <= 2
    assert "sesame" not in told.err
    with open_store(DB) as store:
        assert [person.name for person in store.users.all()] == ["Kim"]


@pytest.mark.parametrize(
    ("typed", "status", "said"),
    [
        ([FIRST, FIRST], 0, "Kim may sign in."),
        ([FIRST, SECOND, FIRST, FIRST], 0, "do not match"),
        (["sesame", "sesame"], 2, "fewer than 12"),
    ],
)
def test_a_password_is_asked_for_twice_and_not_shown(
    run: Run, monkeypatch: pytest.MonkeyPatch, typed: list[str], status: int, said: str
) -> None:
    answers = iter(typed)
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr("click.termui.hidden_prompt_func", lambda _: next(answers))
    told = run("user", "add", "Kim")
    assert told.status == status
    assert said in told.out + told.err
    assert next(answers, None) is None


def test_another_store_has_other_users(run: Run, file: Path) -> None:
    run("user", "add", "Kim", "--password-file", str(file), "--db", "sqlite:///other.db")
    open_store(DB).close()
    assert run("user", "list", "--format", "json").json == []
    assert run("user", "list", "--db", "sqlite:///none.db").status == 2
