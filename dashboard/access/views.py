"""The addresses around signing in: the form, what it sends, and signing out."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from flask import Blueprint, Response, redirect, request, send_from_directory

from bondtrail.passwords import hashed_anew, is_password
from dashboard.access.addresses import SIGN_IN, SIGN_OUT, own_page
from dashboard.access.pages import sign_in_page, trouble_page
from dashboard.access.sessions import Sessions, form_token, is_own_form, signed_in_as
from dashboard.access.throttle import Throttle, address_key, name_key
from dashboard.history import current_store
from store import Person, StoreError

HERE = Path(__file__).parent / "page"
LARGEST_FORM = 16_384
"""Bytes."""
LONGEST_NAME = 100
"""Characters, as the store keeps them."""

WRONG = "The name or the password is not right. Nobody is told which of them."
STALE = "This page was open for too long, or cookies are turned off. Try once more."
SIGNED_OUT = "You are signed out."

_log = logging.getLogger("bondtrail.sign_in")


def sign_in_views(sessions: Sessions, steady: Callable[[], float] = time.monotonic) -> Blueprint:
    """Return the views by which people sign in and out.

    Parameters
    ----------
    sessions : Sessions
        What begins and ends there.
    steady : callable
        A clock that never goes back, to wait by after failures. [s]
    """
    views = Blueprint("sign_in", __name__, template_folder=str(HERE))
    throttle = Throttle()

    @views.get(SIGN_IN)
    def form() -> Any:
        back_to = own_page(request.args.get("next"))
        if signed_in_as() is not None:
            return redirect(back_to)
        said = SIGNED_OUT if "out" in request.args else ""
        return sign_in_page(form_token(), back_to, said=said)

    @views.post(SIGN_IN)
    def sign_in() -> Any:
        request.max_content_length = request.max_form_memory_size = LARGEST_FORM
        if not is_own_form():
            return _again(STALE, 400)
        return _attempt(sessions, throttle, steady())

    @views.post(SIGN_OUT)
    def sign_out() -> Any:
        request.max_content_length = request.max_form_memory_size = LARGEST_FORM
        name = signed_in_as()
        if name is not None:
            if not is_own_form():
                return Response("That form was not one of this session.\n", 400)
            _end(sessions, name)
            _log.info("%s signed out, from %s", _told(name), _address())
        return redirect(f"{SIGN_IN}?out=1")

    @views.get(f"{SIGN_IN}/scheme.js")
    def scheme() -> Response:
        return send_from_directory(HERE, "scheme.js")

    views.register_error_handler(StoreError, lambda _: trouble_page())
    return views


def _attempt(sessions: Sessions, throttle: Throttle, now_s: float) -> Any:
    """Return the way in for a name and its password, or the form once more."""
    name, password = request.form.get("name", "").strip(), request.form.get("password", "")
    keys = (name_key(name), address_key(_address()))
    wait_s = throttle.wait_s(keys, now_s)
    if wait_s > 0:
        return _to_wait(wait_s)
    person = current_store().users.find(name) if len(name) <= LONGEST_NAME else None
    if not is_right(person, password) or person is None:
        throttle.failed(keys, now_s)
        known = None if person is None else person.name
        _log.warning("sign-in as %s failed, from %s", _told(known), _address())
        return _again(WRONG, 403)
    throttle.succeeded(keys)
    _keep_anew(person, password)
    sessions.begin(person)
    _log.info("%s signed in, from %s", _told(person.name), _address())
    return redirect(own_page(request.form.get("next")))


def is_right(person: Person | None, password: str) -> bool:
    """Tell whether somebody may sign in with a password; it takes as long where nobody may."""
    may = person is not None and not person.disabled
    return is_password(password, person.hash if person is not None else None) and may


def _keep_anew(person: Person, password: str) -> None:
    """Keep a password by our settings if others kept it: only whoever signs in knows it."""
    anew = hashed_anew(password, person.hash)
    if anew is None:
        return
    try:
        current_store().users.rehash(person.name, person.hash, anew)
    except StoreError as exc:  # it keeps nobody out: the next time will do
        _log.warning("the password of %s could not be kept anew: %s", _told(person.name), exc)


def _end(sessions: Sessions, name: str) -> None:
    """Sign out, whether or not the store can keep that: somebody leaves this machine."""
    try:
        sessions.end()
    except StoreError as exc:
        _log.warning(
            "that %s signed out could not be kept, and a copy of the cookie is good again once the"
            " board is served anew: %s",
            _told(name),
            exc,
        )


def _to_wait(wait_s: float) -> Response:
    whole_s = int(wait_s) + 1
    unit = "second" if whole_s == 1 else "seconds"
    answer = _again(f"Too many attempts failed. Try again in {whole_s} {unit}.", 429)
    answer.headers["Retry-After"] = str(whole_s)
    return answer


def _again(said: str, status: int) -> Response:
    """Return the form with what went wrong, and the name as it was typed."""
    name = request.form.get("name", "")[:LONGEST_NAME]
    back_to = own_page(request.form.get("next"))
    answer = sign_in_page(form_token(), back_to, said=said, is_wrong=True, name=name)
    answer.status_code = status
    return answer


def _address() -> str:
    return request.remote_addr or "an unknown address"


def _told(name: str | None) -> str:
    """Return a name for the log. One that nobody has is not told: it may be a password."""
    return "a name that nobody has" if name is None else ascii(name)
