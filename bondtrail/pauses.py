"""How long to wait before trying again."""

from __future__ import annotations

import random
from collections.abc import Callable


class Pauses:
    """Pauses that double up to a longest one, each shortened by chance.

    Chance keeps many who lost one broker or database from coming back all at once.

    Parameters
    ----------
    first_s, longest_s : float
        The first pause and the longest. [s]
    chance : callable
        Gives a number in ``[0, 1)``.
    """

    def __init__(
        self, first_s: float, longest_s: float, chance: Callable[[], float] = random.random
    ) -> None:
        self._first_s = first_s
        self._longest_s = longest_s
        self._chance = chance
        self._full_s = first_s

    def next_s(self) -> float:
        """Return the next pause: between half of its full length and all of it. [s]"""
        full_s = self._full_s
        self._full_s = min(2 * full_s, self._longest_s)
        return full_s * (0.5 + 0.5 * self._chance())

    def reset(self) -> None:
        """Begin with the first pause again."""
        self._full_s = self._first_s
