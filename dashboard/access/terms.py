"""On what terms the board is open, as whoever serves it says."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Access:
    """Who may reach the board, and how.

    Attributes
    ----------
    sign_in : bool
        Whether every request but those of the sign-in page needs a session.
    names : frozenset of str
        What a request may call this machine, beside its loopback names: host names or addresses,
        in lower case and without a port.
    proxy : str or None
        Address of the proxy in front. What it says of who asked, and whether by https, is
        believed; what anybody else says of that is not.
    """

    sign_in: bool = False
    names: frozenset[str] = frozenset()
    proxy: str | None = None


OPEN = Access()
"""For this machine alone, with nobody signed in."""
