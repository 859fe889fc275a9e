"""Sessions of those who signed in: signed cookies that say who, since when and by which password.

A session ends after `LIFE_S`, when its owner signs out, when the password is changed and when the
user is disabled. The store knows of all but the first, and is asked with each request.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from threading import Lock
from typing import Any

from flask import Flask, request, session
from flask.sessions import SecureCookieSessionInterface
from flask_login import (
    LoginManager,
    UserMixin,
    current_user,
    login_user,
    logout_user,
)
from itsdangerous import URLSafeTimedSerializer

from bondtrail.times import nanoseconds
from dashboard.history import current_store
from store import Person, StoreError

COOKIE = "bondtrail_session"
LIFE_S = 12 * 3600.0
"""From signing in: a shift, and no longer."""
MOST_ENDED = 10_000
"""Of sessions that were signed out of while the store could not be written."""


class SignedIn(UserMixin):  # type: ignore[misc]
    """Somebody who signed in, by name."""

    def __init__(self, name: str) -> None:
        self.id = name


class _Cookies(SecureCookieSessionInterface):
    """Cookies signed with the store's secret, given back by https alone if they came by https."""

    def get_signing_serializer(self, app: Flask) -> URLSafeTimedSerializer | None:
        if not app.secret_key:  # no session as long as the store does not answer
            with suppress(StoreError):
                app.secret_key = current_store().secret_key()
        return super().get_signing_serializer(app)

    def get_cookie_secure(self, app: Flask) -> bool:
        del app
        return request.is_secure


class Sessions:
    """The sessions of one board.

    Parameters
    ----------
    server : Flask
        Gets its cookies signed and its ``current_user`` found.
    clock : callable
        The time now, since 1970. [s]
    """

    def __init__(self, server: Flask, clock: Callable[[], float]) -> None:
        self._server = server
        self._clock = clock
        self._unkept: OrderedDict[str, None] = OrderedDict()
        self._lock = Lock()
        server.session_interface = _Cookies()
        server.config.update(
            SESSION_COOKIE_NAME=COOKIE,
            SESSION_COOKIE_HTTPONLY=True,
            SESSION_COOKIE_SAMESITE="Lax",
            SESSION_REFRESH_EACH_REQUEST=False,
        )
        manager = LoginManager(server)
        manager.session_protection = None
        manager.user_loader(self._found)

    def begin(self, person: Person) -> None:
        """Sign somebody in, in a session that nobody could have known before."""
        session.clear()
        session["key"] = secrets.token_urlsafe()
        session["token"] = secrets.token_urlsafe()
        session["since"] = self._clock()
        session["stamp"] = self._stamp(person)
        login_user(SignedIn(person.name))

    def end(self) -> None:
        """Sign out: the session at hand is good for nothing any more, whoever has a copy of it.

        Raises
        ------
        StoreError
            If the store cannot keep that: then it is so until this board ends.
        """
        key, now_s, since_s = session.get("key", ""), self._clock(), session.get("since", 0.0)
        logout_user()
        session.clear()
        try:
            until = nanoseconds(since_s + LIFE_S)
            current_store().users.sign_out(key, at=nanoseconds(now_s), until=until)
        except StoreError:
            with self._lock:
                self._unkept[key] = None
                while len(self._unkept) > MOST_ENDED:
                    self._unkept.popitem(last=False)
            raise

    def _found(self, name: str) -> SignedIn | None:
        """Return who a session is of, or None if it is over."""
        age_s = self._clock() - session.get("since", 0.0)
        key = session.get("key", "")
        if not 0 <= age_s < LIFE_S or key in self._unkept:
            return None
        users = current_store().users
        user = users.find(name)
        if user is None or user.disabled or users.is_signed_out(key):
            return None
        is_same = hmac.compare_digest(session.get("stamp", ""), self._stamp(user))
        return SignedIn(user.name) if is_same else None

    def _stamp(self, person: Person) -> str:
        """Return what changes with the password, and tells nothing of it.

        Not by its hash: that may be made anew of the same password.
        """
        key: Any = self._server.secret_key
        told = f"{person.name}\n{person.changed}"
        return hmac.new(key, told.encode(), hashlib.sha256).hexdigest()


def form_token() -> str:
    """Return what a form of this session must send back: a page from elsewhere cannot know it."""
    if "token" not in session:
        session["token"] = secrets.token_urlsafe()
    token: str = session["token"]
    return token


def is_own_form() -> bool:
    """Tell whether the form at hand is one that this session was shown."""
    held = session.get("token", "")
    told = request.form.get("token", "")
    return bool(held) and hmac.compare_digest(_bytes(held), _bytes(told))


def _bytes(text: str) -> bytes:
    """Return a text as what can be compared: whatever letters it has."""
    return text.encode("utf-8", "surrogatepass")


def signed_in_as() -> str | None:
    """Return the name of who asks, or None where nobody signs in."""
    if not hasattr(current_user, "is_authenticated"):
        return None
    return current_user.get_id() if current_user.is_authenticated else None
