"""What `check` says: one thing that was looked at, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

MOST_NAMES = 6


class Level(StrEnum):
    """How a remark is meant."""

    FINE = "ok"
    NOTE = "note"
    WRONG = "WRONG"


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing that was looked at: what was seen, and what to do about it."""

    level: Level
    text: str
    remedy: str = ""


def named(names: Sequence[str]) -> str:
    """Return some of the names, and how many more there are."""
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return ", ".join(names[:MOST_NAMES]) + more
