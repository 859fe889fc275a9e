"""How long clamps and cables last, from when they were replaced."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from analytics.core.replacements import Part, parts_replaced
from analytics.core.shares import FEW
from analytics.core.stretches import NS_PER_DAY
from analytics.core.weibull import Quantity, fit_weibull
from bondtrail.results import WorkWindow


class Wear(StrEnum):
    """How age bears on failing, by the interval of the Weibull shape."""

    EARLY = "fails early"
    RANDOM = "no sign that age matters"
    OUT = "wears out"


@dataclass(frozen=True, slots=True)
class PartLife:
    """The life of one clamp or cable, between the ends of the work that put it in and took it out.

    ``start`` and ``end`` in ns; one that was not ``replaced`` was still in use then.
    """

    station: str
    part: Part
    start: int
    end: int
    replaced: bool

    @property
    def days(self) -> float:
        """How long it lasted, or has lasted so far."""
        return (self.end - self.start) / NS_PER_DAY


@dataclass(frozen=True, slots=True)
class Life:
    """How long parts of one sort last.

    Attributes
    ----------
    wear : Wear
        By whether the interval of the shape lies below 1, above 1 or around it.
    shape : Quantity
        Of the Weibull distribution.
    scale : float
        Age by which 63.2 % are replaced, in the unit of the ages given.
    b10, median : Quantity
        Ages by which 10 % and 50 % are replaced.
    replaced, running : int
        Lives that are over, and those that go on.
    confidence : float
        Of the intervals.
    """

    wear: Wear
    shape: Quantity
    scale: float
    b10: Quantity
    median: Quantity
    replaced: int
    running: int
    confidence: float

    @property
    def words(self) -> str:
        """What the shape says, with its figures."""
        shape = self.shape
        return (
            f"{self.wear} (Weibull shape {shape.value:.2g}, {self.confidence:.0%} interval"
            f" {shape.low:.2g} to {shape.high:.2g}, {self.replaced} replaced)"
        )


def lives_from_work(work: Sequence[WorkWindow], until: Mapping[str, int]) -> list[PartLife]:
    """Return the lives of clamps and cables that the work log tells, by station, part and start.

    Parameters
    ----------
    work : sequence of WorkWindow
        Of any stations, in any order.
    until : mapping of str to int
        Where what is known of each station ends: a part that was put in and not replaced was in
        use then. What begins at or after it does not count. [ns]

    Notes
    -----
    A life runs from the end of one replacement to the start of the next of the same part at the
    same station. What was in use before the first replacement is left out: when it was put in is
    not known. Other parts are left out too: a relay and a module have no life in common.
    """
    replaced: dict[tuple[str, Part], list[WorkWindow]] = defaultdict(list)
    for window in sorted(work, key=lambda item: (item.start, item.end)):
        if window.start < until[window.station]:
            for part in parts_replaced(window.what) - {Part.OTHER}:
                replaced[window.station, part].append(window)
    return [
        life
        for key in sorted(replaced)
        for life in _lives(*key, windows=replaced[key], until=until[key[0]])
    ]


def _lives(
    station: str, part: Part, *, windows: Sequence[WorkWindow], until: int
) -> Iterator[PartLife]:
    put_in = windows[0].end
    for window in windows[1:]:
        if window.start > put_in:
            yield PartLife(station, part, put_in, window.start, replaced=True)
        put_in = max(put_in, window.end)
    if until > put_in:
        yield PartLife(station, part, put_in, until, replaced=False)


def weibull_life(
    ages: Sequence[float], replaced: Sequence[bool], confidence: float = 0.95
) -> Life | None:
    """Return how long parts of one sort last, or None where that cannot be told.

    Parameters
    ----------
    ages : sequence of float
        Above 0, in any unit of time.
    replaced : sequence of bool
        Whether the part was replaced at that age; if not, it goes on (right-censored).
    confidence : float
        Of the intervals, above 0 and below 1.

    Returns
    -------
    Life or None
        None below 5 replacements, or where all were replaced at the highest age.

    Raises
    ------
    ValueError
        If an age is not above 0 and finite, or the sequences differ in length.

    Notes
    -----
    Every replacement counts as a failure. Where parts are replaced by the calendar, this tells
    the calendar and not the part.
    """
    over = np.asarray(replaced, bool)
    fit = fit_weibull(np.asarray(ages, np.float64), over, confidence)
    count = int(over.sum())
    if fit is None or count < FEW:
        return None
    return Life(
        wear=_wear(fit.shape),
        shape=fit.shape,
        scale=fit.scale,
        b10=fit.age(0.1),
        median=fit.age(0.5),
        replaced=count,
        running=over.size - count,
        confidence=confidence,
    )


def _wear(shape: Quantity) -> Wear:
    if shape.high < 1:
        return Wear.EARLY
    return Wear.OUT if shape.low > 1 else Wear.RANDOM
