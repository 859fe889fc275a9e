"""Texts and numbers from outside, made fit for any database."""

from __future__ import annotations

from enum import Enum

import numpy as np


def fit(text: str) -> str:
    """Return the text without what PostgreSQL or UTF-8 cannot hold: NUL and lone surrogates."""
    if text.isascii() and "\0" not in text:  # nearly always, and told at a glance
        return text
    return text.encode("utf-8", "backslashreplace").decode("utf-8").replace("\0", "\\x00")


def bounded(name: str, text: str, most: int) -> str:
    """Return what a person said, made fit and without blanks around it.

    Raises
    ------
    ValueError
        If nothing is left, or more than ``most`` characters; it calls the text ``name``.
    """
    kept = fit(text.strip())
    if not kept:
        raise ValueError(f"{name}: expected some text")
    if len(kept) > most:
        raise ValueError(f"{name}: expected {most} characters or fewer, got {len(kept)}")
    return kept


def shortened(text: str, most: int) -> str:
    """Return the text cut to ``most`` bytes of UTF-8, between two characters."""
    fitting = fit(text)
    if len(fitting) * 4 <= most:  # four bytes are the most that a character takes
        return fitting
    return fitting.encode("utf-8")[:most].decode("utf-8", "ignore")


_KNOWN = frozenset({int, float, bool, type(None)})


def plain(value: object) -> object:
    """Return a value as the database drivers know it.

    sqlite3 stores an ``np.int64`` as a blob without a word.
    """
    if type(value) in _KNOWN:  # nearly all of them, by the dozen in each row
        return value
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, Enum):
        return value.value
    return fit(value) if isinstance(value, str) else value
