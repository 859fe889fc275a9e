"""How the clock of a source stands to ours: arrival minus the time of its readings."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from bondtrail.running import Source
from bondtrail.times import NS_PER_S

NEWEST = 1000
"""Readings that tell of a clock; earlier ones are forgotten."""
EVERY_NS = 10 * NS_PER_S
"""The word of a source goes out no oftener."""
MOST_SOURCES = 10_000
"""Sources that are kept apart; those beyond are counted together."""

OTHERS = "other sources"

LagArray = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Lag:
    """Median and interquartile range of lags, and of how many."""

    median_s: float
    spread_s: float
    count: int


def lag_of(lags: LagArray) -> Lag | None:
    """Return how lags are spread, None where there are none.

    Parameters
    ----------
    lags : ndarray of int64, shape (n,)
        Arrival minus time of the reading. [ns]

    Notes
    -----
    Quartiles interpolate between readings, which is numpy's default.
    """
    if not lags.size:
        return None
    low, middle, high = np.quantile(lags / NS_PER_S, (0.25, 0.5, 0.75))
    return Lag(float(middle), float(high - low), int(lags.size))


@dataclass(slots=True)
class _Kept:
    """What is kept of one source."""

    readings: int = 0
    heard: int = 0
    told: int | None = None
    pieces: list[LagArray] = field(default_factory=list)
    size: int = 0
    has_news: bool = False

    def add(self, lags: LagArray) -> None:
        self.pieces.append(lags[-NEWEST:])
        self.size += self.pieces[-1].size
        if self.size > 4 * NEWEST or len(self.pieces) > NEWEST:
            self.newest()

    def newest(self) -> LagArray:
        """Return the newest lags, and forget the others."""
        joined = np.concatenate(self.pieces)[-NEWEST:] if self.pieces else np.zeros(0, np.int64)
        self.pieces, self.size = [joined], joined.size
        return joined


class Clocks:
    """Keeps what each source says of its clock: bounded, and told at most every ten seconds."""

    def __init__(self) -> None:
        self._kept: dict[str, _Kept] = {}

    def note(self, source: str, readings: int, heard: int, lags: LagArray) -> None:
        """Keep that readings came, taken or not.

        Parameters
        ----------
        source : str
            Who sent them.
        readings : int
            How many were taken.
        heard : int
            When the last of them arrived. [ns]
        lags : ndarray of int64, shape (n,)
            Arrival minus time of those that tell of the clock, in the order of arrival. [ns]
        """
        if source not in self._kept and len(self._kept) >= MOST_SOURCES:
            source = OTHERS
        kept = self._kept.setdefault(source, _Kept())
        kept.readings += readings
        kept.heard = max(kept.heard, heard)
        kept.has_news = True
        if lags.size:
            kept.add(lags)

    def due(self, now: int, *, at_once: bool = False) -> list[Source]:
        """Return the word of each source that has news and was not heard of lately.

        ``at_once`` asks for all that have news; ``now`` is in ns.
        """
        return [
            self._word(name, kept, now)
            for name, kept in self._kept.items()
            if kept.has_news
            and (at_once or kept.told is None or not 0 <= now - kept.told < EVERY_NS)
        ]

    def _word(self, name: str, kept: _Kept, now: int) -> Source:
        lag = lag_of(kept.newest())
        readings, kept.readings, kept.told, kept.has_news = kept.readings, 0, now, False
        if lag is None:
            return Source(name, readings, kept.heard)
        return Source(name, readings, kept.heard, lag.median_s, lag.spread_s, lag.count)
