"""What goes wrong before a single row can be read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A path that cannot be loaded, and why."""

    path: str
    reason: str

    def __str__(self) -> str:
        return f"{self.path}: {self.reason}"


class IngestError(Exception):
    """Nothing could be loaded; ``unreadable`` says of each path why."""

    def __init__(self, unreadable: Sequence[Unreadable]) -> None:
        self.unreadable = tuple(unreadable)
        super().__init__("; ".join(map(str, unreadable)) or "no file was named")
