"""What the environment says: which site file and which store, when no option does.

A store's URL may hold a password, so a URL is only ever shown by way of `hide_password`.
"""

from __future__ import annotations

import re
from pathlib import Path

SITE_VARIABLE = "BONDTRAIL_SITE"
DB_VARIABLE = "BONDTRAIL_DB"

DEFAULT_DB = "sqlite:///bondtrail.db"
"""The embedded store, in the folder where the command runs."""

_USER_PASSWORD = re.compile(r"(?P<before>://[^\s:/@?#]*:)[^\s/?#]*(?=@)")
_QUERY_PASSWORD = re.compile(r"(?P<before>[?&]password=)[^\s&#]+", re.IGNORECASE)


def hide_password(text: str) -> str:
    """Return the text with the password of every URL in it replaced by ``***``."""
    for pattern in (_USER_PASSWORD, _QUERY_PASSWORD):
        text = pattern.sub(r"\g<before>***", text)
    return text


def sqlite_file(url: str) -> Path | None:
    """Return the file that a SQLite URL names; None for another database or one in memory."""
    scheme, found, rest = url.partition(":///")
    if not found or scheme.partition("+")[0] != "sqlite":
        return None
    name = rest.partition("?")[0]
    return None if name in ("", ":memory:") else Path(name)
