from __future__ import annotations

from pathlib import Path

import pytest

from bondtrail.settings import (
    SettingError,
    hide_password,
    hide_password_of,
    secret,
    sqlite_file,
    with_db_password,
)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("sqlite:///bondtrail.db", "sqlite:///bondtrail.db"),
        ("postgresql://ann@db/plant", "postgresql://ann@db/plant"),
        ("postgresql://ann:s3cret@db:5432/plant", "postgresql://ann:***@db:5432/plant"),
        ("postgresql+psycopg://ann:s3cret@db/plant", "postgresql+psycopg://ann:***@db/plant"),
        ("postgresql://ann:a@b:c@db/plant", "postgresql://ann:***@db/plant"),
        ("postgresql://:s3cret@db/plant", "postgresql://:***@db/plant"),
        (
            "postgresql://db/p?user=a&password=s3cret&x=1",
            "postgresql://db/p?user=a&password=***&x=1",
        ),
        (
            "no store at postgresql://a:s3cret@db/p: gone",
            "no store at postgresql://a:***@db/p: gone",
        ),
        ("mqtt://ann:s3cret/x@b:1883", "mqtt://ann:***@b:1883"),
        ("mqtt://ann:s3cret?x#y@z@b:1883: gone", "mqtt://ann:***@b:1883: gone"),
        ("mqtt://pl/ann:s3cret@b", "mqtt://pl/ann:***@b"),
        ("http://127.0.0.1:8710/", "http://127.0.0.1:8710/"),
        ("", ""),
    ],
)
def test_a_password_in_a_url_is_never_shown(text: str, shown: str) -> None:
    assert hide_password(text) == shown


@pytest.mark.parametrize(
    ("url", "shown"),
    [
        ("mqtt://ann:s3cret word@b", "mqtt://ann:***@b"),
        ("ann:s3cret@b:1883", "ann:***@b:1883"),
        ("mqtt://ann@b:1883", "mqtt://ann@b:1883"),
        ("broker:1883", "broker:1883"),
        ("", ""),
    ],
)
def test_what_is_no_url_is_shown_without_a_password_all_the_same(url: str, shown: str) -> None:
    assert hide_password_of(url) == shown


@pytest.mark.parametrize(
    ("url", "file"),
    [
        ("sqlite:///bondtrail.db", Path("bondtrail.db")),
        ("sqlite:////var/lib/bondtrail.db", Path("/var/lib/bondtrail.db")),
        ("sqlite:///bondtrail.db?timeout=1", Path("bondtrail.db")),
        ("sqlite+pysqlite:///bondtrail.db", Path("bondtrail.db")),
        ("sqlite://", None),
        ("sqlite:///:memory:", None),
        ("postgresql:///plant", None),
        ("postgresql://db/plant", None),
        ("bondtrail.db", None),
    ],
)
def test_only_a_sqlite_url_names_a_file(url: str, file: Path | None) -> None:
    assert sqlite_file(url) == file


@pytest.mark.parametrize("content", ["s3cret", "s3cret\n", "s3cret\r\n"])
def test_a_secret_may_be_in_a_file(tmp_path: Path, content: str) -> None:
    file = tmp_path / "secret"
    file.write_bytes(content.encode())
    assert secret("WORD", {"WORD_FILE": str(file)}) == "s3cret"
    assert secret("WORD", {"WORD": "told"}) == "told"
    assert secret("WORD", {"WORD": "", "WORD_FILE": ""}) is None


def test_spaces_are_part_of_a_secret(tmp_path: Path) -> None:
    file = tmp_path / "secret"
    file.write_text(" two words \n")
    assert secret("WORD", {"WORD_FILE": str(file)}) == " two words "


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "No such file"),
        (b"", "expected one line"),
        (b"s3cret\nmore\n", "expected one line"),
        (b"s3cret\xff", "is no text"),
    ],
)
def test_a_file_that_holds_no_secret_is_named_and_not_shown(
    tmp_path: Path, content: bytes | None, said: str
) -> None:
    file = tmp_path / "secret"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(SettingError, match=f"WORD_FILE: .*{said}") as caught:
        secret("WORD", {"WORD_FILE": str(file)})
    assert caught.value.variable == "WORD_FILE"
    assert "s3cret" not in str(caught.value)


def test_a_secret_that_is_told_twice_is_refused() -> None:
    with pytest.raises(SettingError, match="set only one"):
        secret("WORD", {"WORD": "a", "WORD_FILE": "b"})


@pytest.mark.parametrize(
    ("url", "expected"),
    [
        ("postgresql://ann@db/plant", "postgresql://ann:p%40ss%2F@db/plant"),
        ("postgresql+psycopg://ann@db:5432/plant", "postgresql+psycopg://ann:p%40ss%2F@db:5432/plant"),
        ("postgresql://ann:own@db/plant", "postgresql://ann:own@db/plant"),
        ("postgresql://db/plant?user=ann&password=own", "postgresql://db/plant?user=ann&password=own"),
        ("sqlite:///bondtrail.db", "sqlite:///bondtrail.db"),
    ],
)  # fmt: skip
def test_a_store_is_given_the_password_that_its_url_lacks(url: str, expected: str) -> None:
    assert with_db_password(url, {"BONDTRAIL_DB_PASSWORD": "p@ss/"}) == expected
    assert with_db_password(url, {}) == url


def test_a_password_for_nobody_is_refused() -> None:
    with pytest.raises(SettingError, match="names no user"):
        with_db_password("postgresql://db/plant", {"BONDTRAIL_DB_PASSWORD": "s3cret"})
