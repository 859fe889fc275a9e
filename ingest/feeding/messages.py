"""A message on its way out."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Outgoing:
    """A message to be published, and how many readings it carries."""

    topic: str
    payload: bytes
    readings: int = 0
    qos: int = 1
