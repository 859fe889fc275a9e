"""What stands in front of every address of the board where signing in is asked for."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from flask import Flask, Response, redirect, request, session
from flask_login import current_user

from dashboard.access.addresses import sign_in_address
from dashboard.access.pages import trouble_page
from dashboard.access.sessions import Sessions
from dashboard.access.views import sign_in_views
from store import StoreError

OPEN_ADDRESSES = frozenset({"/assets/board.css"})
"""What the sign-in page needs, beside its own addresses. It tells nothing of the site."""

HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
}


def ask_for_sign_in(server: Flask, clock: Callable[[], float] = time.time) -> None:
    """Let nobody see anything of a board before signing in.

    Parameters
    ----------
    server : Flask
        Of the board.
    clock : callable
        The time now, since 1970. [s]
    """
    views = sign_in_views(Sessions(server, clock))
    server.register_blueprint(views)

    def turned_away() -> Any:
        try:
            if server.session_interface.is_null_session(session):
                return trouble_page()
            if request.blueprint == views.name or request.path in OPEN_ADDRESSES:
                return None
            return None if current_user.is_authenticated else _to_sign_in()
        except StoreError:
            return trouble_page()

    server.before_request(turned_away)
    server.after_request(_hardened)


def _to_sign_in() -> Any:
    """Return the way to the sign-in page for a person, and a refusal for a program."""
    is_page = request.method == "GET" and not request.path.startswith(("/_", "/assets/"))
    if is_page:
        return redirect(sign_in_address(request.full_path.removesuffix("?")))
    return Response("Sign in first.\n", 401, mimetype="text/plain")


def _hardened(answer: Response) -> Response:
    """Return the answer, not to be framed by other pages, nor kept where it may tell something."""
    for name, value in HEADERS.items():
        answer.headers.setdefault(name, value)
    answer.headers.setdefault("Cache-Control", "no-store")
    return answer
