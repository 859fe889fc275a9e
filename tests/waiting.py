"""Waiting for what another thread, process or service does in its own time."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T")

LONG_S = 60.0
"""A machine that many share may be slow by that much; whoever waits so long waits in vain."""
_LOOK_S = 0.02


def until(
    there: Callable[[], T], what: str = "what the test waits for", most_s: float = LONG_S
) -> T:
    """Look until there is something true; return it, or fail and say what did not come."""
    give_up = time.monotonic() + most_s
    while not (found := there()):
        assert time.monotonic() < give_up, f"it did not come: {what}"
        time.sleep(_LOOK_S)
    return found
