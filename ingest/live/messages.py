"""A message as it arrived, whatever it holds."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Message:
    """A message of a broker.

    Attributes
    ----------
    topic : str
        Where it was published.
    payload : bytes
        What it holds: hostile until parsed.
    arrived : int
        When it was taken from the broker. [ns]
    is_repeat : bool
        The broker had sent it before.
    is_retained : bool
        The broker kept it from before the subscription: nobody knows how long.
    is_prompt : bool
        It was taken when nothing older waited at the broker, so that its arrival tells of clocks.
    """

    topic: str
    payload: bytes
    arrived: int
    is_repeat: bool = False
    is_retained: bool = False
    is_prompt: bool = True
