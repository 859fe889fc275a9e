"""Low, typical and high: a quantity that is known only within a spread, and where it comes from."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Self


class Level(StrEnum):
    """Which end of the spread: of the hazard, so that ``high`` is the worst that fits."""

    LOW = "low"
    TYPICAL = "typical"
    HIGH = "high"


@dataclass(frozen=True, slots=True)
class Spread:
    """A quantity with the ends of its spread, its unit and the source of its values.

    Attributes
    ----------
    low, typical, high : float
        In rising order; all alike where one value is given. ``inf`` where there is no upper end.
    unit : str
        As it is printed, such as ``pS/m``; empty where there is none.
    source : str
        Who says so: a document, the site file, the record, or our own assumption, said as such.
    """

    low: float
    typical: float
    high: float
    unit: str
    source: str

    def __post_init__(self) -> None:
        """Refuse values out of order.

        Raises
        ------
        ValueError
            If they do not rise, or one is no number.
        """
        if not self.low <= self.typical <= self.high:
            raise ValueError(
                f"a spread must rise from low to high, got {self.low}, {self.typical}, {self.high}"
            )

    @classmethod
    def of(cls, value: float, unit: str, source: str) -> Self:
        """Return the spread of one value."""
        return cls(value, value, value, unit, source)

    def at(self, level: Level) -> float:
        """Return the value at a level."""
        return {Level.LOW: self.low, Level.TYPICAL: self.typical, Level.HIGH: self.high}[level]
