"""Where to go after signing in: to a page of this board, and nowhere else."""

from __future__ import annotations

from urllib.parse import quote, urlsplit

HOME = "/"
SIGN_IN = "/sign-in"
SIGN_OUT = "/sign-out"
LONGEST = 2000
"""Characters of an address that is gone back to."""


def own_page(address: str | None) -> str:
    """Return the address if it is one of a page of this board, else that of the first page.

    Browsers read a backslash as a slash, leave out tabs and line feeds, and take what follows
    two slashes for the name of another machine.
    """
    if not address or len(address) > LONGEST or not address.isprintable() or "\\" in address:
        return HOME
    try:
        parts = urlsplit(address)
    except ValueError:
        return HOME
    if parts.scheme or parts.netloc or not address.startswith("/") or address.startswith("//"):
        return HOME
    return HOME if parts.path in (SIGN_IN, SIGN_OUT) else address


def sign_in_address(back_to: str) -> str:
    """Return the address of the sign-in page, from where one gets back to a page."""
    page = own_page(back_to)
    return SIGN_IN if page == HOME else f"{SIGN_IN}?next={quote(page, safe='/')}"
