"""What the environment says: site file, store and broker, when no option does, and secrets.

A URL may hold a password, so a URL is only ever shown by way of `hide_password`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from urllib.parse import quote

SITE_VARIABLE = "BONDTRAIL_SITE"
DB_VARIABLE = "BONDTRAIL_DB"
DB_PASSWORD_VARIABLE = "BONDTRAIL_DB_PASSWORD"
BROKER_VARIABLE = "BONDTRAIL_BROKER"
BROKER_USER_VARIABLE = "BONDTRAIL_BROKER_USER"
BROKER_PASSWORD_VARIABLE = "BONDTRAIL_BROKER_PASSWORD"
BROKER_CA_VARIABLE = "BONDTRAIL_BROKER_CA"
BROKER_CERT_VARIABLE = "BONDTRAIL_BROKER_CERT"
BROKER_KEY_VARIABLE = "BONDTRAIL_BROKER_KEY"
FILE = "_FILE"
"""After the name of a secret's variable: that of the file that holds it."""

DEFAULT_DB = "sqlite:///bondtrail.db"
"""The embedded store, in the folder where the command runs."""

# One that is not encoded may hold what ends the host of a URL: it goes up to the last @.
_USER_PASSWORD = re.compile(r"(?P<before>://[^\s:@]*:)\S*(?=@)")
_POSTGRES = re.compile(r"(?P<before>postgresql(?:\+\w+)?://[^\s:/@?#]+)(?=@)", re.IGNORECASE)
_QUERY_PASSWORD = re.compile(r"(?P<before>[?&]password=)[^\s&#]+", re.IGNORECASE)


class SettingError(ValueError):
    """A variable of the environment that cannot be used; ``variable`` is its name."""

    def __init__(self, variable: str, what: str) -> None:
        self.variable = variable
        super().__init__(f"{variable}: {what}")


def secret(variable: str, environment: Mapping[str, str]) -> str | None:
    """Return a secret of the environment, or of the file that ``<variable>_FILE`` names.

    The end of a file's last line is no part of the secret.

    Raises
    ------
    SettingError
        If both are set, or the file cannot be read, is empty or holds more than a line.
    """
    told = environment.get(variable) or None
    named = environment.get(variable + FILE) or None
    if named is None:
        return told
    if told is not None:
        raise SettingError(variable + FILE, f"{variable} is set too: set only one of them")
    try:
        text = Path(named).read_text(encoding="utf-8")
    except OSError as exc:
        raise SettingError(variable + FILE, f"{named}: {exc.strerror}") from exc
    except UnicodeDecodeError as exc:
        raise SettingError(variable + FILE, f"{named} is no text") from exc
    line = text.removesuffix("\n").removesuffix("\r")
    if not line or "\n" in line:
        raise SettingError(variable + FILE, f"{named}: expected one line, the secret")
    return line


def with_db_password(url: str, environment: Mapping[str, str]) -> str:
    """Return a store's URL with the password of the environment, where it has none of its own.

    Only for PostgreSQL: another URL stays as it is.

    Raises
    ------
    SettingError
        If there is a password, and nobody in the URL to give it to.
    """
    if not url.lower().startswith("postgresql") or hide_password(url) != url:
        return url
    password = secret(DB_PASSWORD_VARIABLE, environment)
    if password is None:
        return url
    found = _POSTGRES.match(url)
    if found is None:
        raise SettingError(
            DB_PASSWORD_VARIABLE, "the store's URL names no user: write postgresql://USER@HOST/NAME"
        )
    return f"{found['before']}:{quote(password, safe='')}{url[found.end() :]}"


def hide_password(text: str) -> str:
    """Return the text with the password of every URL in it replaced by ``***``."""
    for pattern in (_USER_PASSWORD, _QUERY_PASSWORD):
        text = pattern.sub(r"\g<before>***", text)
    return text


def hide_password_of(url: str) -> str:
    """Return what somebody gave as a URL with its password replaced by ``***``.

    It may be none: then a password may hold spaces, too, or there is nothing before it.
    """
    before, at, after = url.rpartition("@")
    scheme, slashes, rest = before.partition("://")
    user, colon, _ = rest.partition(":") if slashes else before.partition(":")
    if not colon:
        return hide_password(url)
    return f"{scheme + slashes if slashes else ''}{user}:***{at}{after}"


def sqlite_file(url: str) -> Path | None:
    """Return the file that a SQLite URL names; None for another database or one in memory."""
    scheme, found, rest = url.partition(":///")
    if not found or scheme.partition("+")[0] != "sqlite":
        return None
    name = rest.partition("?")[0]
    return None if name in ("", ":memory:") else Path(name)
