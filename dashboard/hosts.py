"""Which host a request may name: without sign-in, only this machine's own.

A page from elsewhere can make its own name stand for this machine, and then read what answers
there. The browser tells the name in the Host header, so a name that is not ours is refused.
"""

from __future__ import annotations

import ipaddress
from urllib.parse import urlsplit

from flask import Response, request

REFUSAL = (
    "The board answers only on this machine, as 127.0.0.1, [::1] or localhost. "
    "Use one of them in the address.\n"
)


def refuse_other_hosts() -> Response | None:
    """Return a refusal of the request at hand, or None if it names a loopback host."""
    if is_loopback(request.headers.get("Host", "")):
        return None
    return Response(REFUSAL, 403, mimetype="text/plain")


def is_loopback(host: str) -> bool:
    """Tell whether a Host header, with or without a port, names this machine itself."""
    try:
        name = urlsplit(f"//{host}").hostname or ""
        return name == "localhost" or ipaddress.ip_address(name).is_loopback
    except ValueError:
        return False
