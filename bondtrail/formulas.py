"""Text from outside on its way into a spreadsheet, which runs what begins like a formula."""

from __future__ import annotations

BEGINS = ("=", "+", "-", "@", "\t", "\r")


def harmless(text: str) -> str:
    """Return the text with an apostrophe in front, if a spreadsheet would take it for a formula."""
    return f"'{text}" if text.startswith(BEGINS) else text
