"""Passwords of those who sign in: what one must be, and how it is kept.

Only a hash leaves this module, in the form that argon2 gives it: it names its own settings, so
that later ones may be dearer; what older ones made is made anew at the next sign-in. Settings are
those that RFC 9106, section 4, recommends where memory is limited: Argon2id, three passes over
64 MiB.
"""

from __future__ import annotations

import secrets
import unicodedata
from functools import cache
from threading import Lock

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from argon2.profiles import RFC_9106_LOW_MEMORY

SHORTEST = 12
"""Characters. Length is all that is asked for."""
LONGEST = 1024
"""Characters; a longer one is nobody's, and would only cost time to look at."""

_one_at_a_time = Lock()
"""Each look takes 64 MiB: many at once would be a way to take all memory."""


def password_problem(password: str) -> str | None:
    """Return what is wrong with a password that somebody chose, or None."""
    if len(password) < SHORTEST:
        return f"has fewer than {SHORTEST} characters"
    if len(password) > LONGEST:
        return f"has more than {LONGEST:,} characters"
    return None


def hash_password(password: str) -> str:
    """Return what to keep of a password; each time another text.

    Raises
    ------
    ValueError
        If the password is too short or too long; it is not in the message.
    """
    problem = password_problem(password)
    if problem is not None:
        raise ValueError(f"the password {problem}")
    with _one_at_a_time:
        return _hasher().hash(_same(password))


def is_password(password: str, kept: str | None) -> bool:
    """Tell whether a password is the one that a hash was kept of.

    It takes the same time where there is no hash, because nobody has the name that was given.

    Parameters
    ----------
    password : str
        As it was typed.
    kept : str or None
        What `hash_password` gave.
    """
    if len(password) > LONGEST:
        return False
    with _one_at_a_time:
        try:
            found = _hasher().verify(_of_nobody() if kept is None else kept, _same(password))
        except (VerificationError, InvalidHashError):
            return False
    return found and kept is not None


def hashed_anew(password: str, kept: str) -> str | None:
    """Return what to keep of a password instead of what other settings than ours made of it.

    Parameters
    ----------
    password : str
        The right one.
    kept : str
        What is kept of it.

    Returns
    -------
    str or None
        None where what is kept is as good as ours.
    """
    if not _hasher().check_needs_rehash(kept):
        return None
    with _one_at_a_time:
        return _hasher().hash(_same(password))


def _same(password: str) -> str:
    """Return the one form of what keyboards send as different characters for the same key."""
    return unicodedata.normalize("NFKC", password)


@cache
def _hasher() -> PasswordHasher:
    return PasswordHasher.from_parameters(RFC_9106_LOW_MEMORY)


@cache
def _of_nobody() -> str:
    """Return the hash of a password that nobody knows."""
    return _hasher().hash(secrets.token_urlsafe())
