"""Addresses that lead nowhere."""

from __future__ import annotations

from typing import Any

import dash

from dashboard.frame import home_link, notice

dash.register_page(  # type: ignore[no-untyped-call]
    __name__, path="/404", title="Not found - Bondtrail"
)


def layout(**_: Any) -> Any:
    """Return the page for an address that is none of the board's."""
    return notice("There is no such page", "The address may be cut short.", home_link())
