"""Which host a request may name: this machine's own names, and those that it was given.

A page from elsewhere can make its own name stand for this machine, and then read what answers
there. The browser tells the name in the Host header, so a name that is not ours is refused.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Callable, Collection
from urllib.parse import urlsplit

from flask import Response, request

from dashboard.access.terms import Access

REFUSAL = (
    "The board answers only on this machine, as 127.0.0.1, [::1] or localhost. "
    "Use one of them in the address.\n"
)
OTHER_NAME = (
    "The board does not go by this name. Whoever serves it gives it one more by: "
    "bondtrail serve --name NAME\n"
)
PROXIED = (
    "This request came through a proxy, and nobody signs in here. To let others in, serve the "
    "board behind it by: bondtrail serve --name NAME --behind-proxy ADDRESS\n"
)
MARKS_OF_A_PROXY = ("Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Real-IP", "Via")


def refuse_other_hosts(access: Access) -> Callable[[], Response | None]:
    """Return what refuses a request that names another host, or that others passed on."""

    def refused() -> Response | None:
        if not is_named(request.headers.get("Host", ""), access.names):
            return _refusal(OTHER_NAME if access.sign_in else REFUSAL)
        if not access.sign_in and any(mark in request.headers for mark in MARKS_OF_A_PROXY):
            return _refusal(PROXIED)
        return None

    return refused


def _refusal(text: str) -> Response:
    return Response(text, 403, mimetype="text/plain")


def is_named(host: str, names: Collection[str]) -> bool:
    """Tell whether a Host header, with or without a port, names this machine or one of names."""
    return is_loopback(host) or _name(host) in names


def is_loopback(host: str) -> bool:
    """Tell whether a Host header, with or without a port, names this machine itself."""
    name = _name(host)
    try:
        return name == "localhost" or ipaddress.ip_address(name).is_loopback
    except ValueError:
        return False


def _name(host: str) -> str:
    """Return the name in a Host header, in lower case; empty where there is none."""
    try:
        return urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return ""
