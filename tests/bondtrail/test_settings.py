from __future__ import annotations

from pathlib import Path

import pytest

from bondtrail.settings import hide_password, sqlite_file


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
        ("http://127.0.0.1:8710/", "http://127.0.0.1:8710/"),
        ("", ""),
    ],
)
def test_a_password_in_a_url_is_never_shown(text: str, shown: str) -> None:
    assert hide_password(text) == shown


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
