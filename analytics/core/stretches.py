"""Bonded resistance from hookup to hookup, cut where work on the station brought it down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import erfc, isfinite, sqrt

import numpy as np

from analytics.core.mann_kendall import tie_sizes
from analytics.core.spans import Moments
from bondtrail.results import Hookup, Outcome, WorkWindow
from bondtrail.samples import ValueArray

BESIDE_WORK = 10
"""So many hookups at most on either side of work are compared."""
BESIDE_WORK_MIN = 5
"""So many are needed on either side."""
WORK_P = 0.01
"""Chance below which those after work are taken to be lower."""
LONGEST = 1000
"""Only so many latest hookups of a stretch are looked at."""

NS_PER_DAY = 86_400 * 1_000_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Verified hookups in order, each with its median resistance.

    Attributes
    ----------
    start, end : ndarray of int64, shape (n,)
        Of each hookup. [ns]
    ohm : ndarray of float64, shape (n,)
        Its median resistance. [ohm]
    """

    start: Moments
    end: Moments
    ohm: ValueArray

    def __len__(self) -> int:
        return len(self.ohm)

    def part(self, first: int, end: int | None = None) -> Stretch:
        """Return the hookups from index ``first`` up to ``end``."""
        return Stretch(self.start[first:end], self.end[first:end], self.ohm[first:end])

    @property
    def days(self) -> ValueArray:
        """Starts in days from that of the last hookup: 0 and below."""
        days: ValueArray = (self.start - self.start[-1]) / NS_PER_DAY
        return days


def bonded(hookups: Sequence[Hookup]) -> Stretch:
    """Return the verified hookups that have a finite median resistance, by start."""
    rows = sorted(
        (hookup.start, hookup.end, hookup.median_ohm)
        for hookup in hookups
        if hookup.outcome is Outcome.VERIFIED
        and hookup.median_ohm is not None
        and isfinite(hookup.median_ohm)
    )
    starts, ends, ohm = zip(*rows, strict=True) if rows else ((), (), ())
    return Stretch(np.array(starts, np.int64), np.array(ends, np.int64), np.array(ohm, np.float64))


def between_work(all_hookups: Stretch, work: Sequence[WorkWindow]) -> list[Stretch]:
    """Return the stretches that begin anew after work behind which resistance was lower.

    Parameters
    ----------
    all_hookups : Stretch
        Of one station.
    work : sequence of WorkWindow
        Of the same station.

    Notes
    -----
    Up to 10 hookups before the work, back to where the stretch began, are compared with up to 10
    after it: by a one-sided Mann-Whitney test at 1 %, with at least 5 on either side. Those after
    end where the next work begins, unless fewer than 5 are left so; then the next work is the cut
    if it separates high from low more clearly. Hookups that began during the work of a cut belong
    to neither side.
    """
    opens, closes = _cuts(all_hookups, work)
    cut: list[Stretch] = []
    first = 0
    for k, (before, after) in enumerate(zip(opens, closes, strict=True)):
        chance = _chance(all_hookups.ohm, first, opens, closes, k)
        if chance >= WORK_P:
            continue
        crowded = k + 1 < len(opens) and opens[k + 1] - after < BESIDE_WORK_MIN
        if crowded and _chance(all_hookups.ohm, first, opens, closes, k + 1) < chance:
            continue
        cut.append(all_hookups.part(first, before))
        first = after
    cut.append(all_hookups.part(first))
    return [stretch.part(max(0, len(stretch) - LONGEST)) for stretch in cut if len(stretch)]


def _cuts(stretch: Stretch, work: Sequence[WorkWindow]) -> tuple[list[int], list[int]]:
    """Return per work window, overlapping ones joined, the first hookup from its start and end."""
    joined: list[list[int]] = []
    for start, end in sorted((window.start, window.end) for window in work):
        if joined and start <= joined[-1][1]:
            joined[-1][1] = max(joined[-1][1], end)
        else:
            joined.append([start, end])
    edges = np.array(joined, np.int64).reshape(-1, 2)
    at = stretch.start.searchsorted(edges, side="left")
    # Of windows with no hookup between them one says all.
    at = at[np.flatnonzero(np.diff(at[:, 0], prepend=-1))]
    return at[:, 0].tolist(), at[:, 1].tolist()


def _chance(
    ohm: ValueArray, first: int, opens: Sequence[int], closes: Sequence[int], window: int
) -> float:
    """Return the chance that what came after a work window is no lower than what was before."""
    before, after = opens[window], closes[window]
    end = opens[window + 1] if window + 1 < len(opens) else ohm.size
    end = min(after + BESIDE_WORK, max(end, after + BESIDE_WORK_MIN))
    old, new = ohm[max(first, before - BESIDE_WORK) : before], ohm[after:end]
    if min(old.size, new.size) < BESIDE_WORK_MIN or first > before:
        return 1.0
    return chance_not_lower(old, new)


def chance_not_lower(before: ValueArray, after: ValueArray) -> float:
    """Return the one-sided Mann-Whitney p value for ``after`` being lower than ``before``.

    Parameters
    ----------
    before, after : ndarray of float64, shapes (n,) and (m,)
        At least one value each.

    Notes
    -----
    By the normal distribution, corrected for equal values and for continuity. 1 where the
    chance is even or better.
    """
    wins = np.count_nonzero(before[:, None] > after) + 0.5 * np.count_nonzero(
        before[:, None] == after
    )
    pairs, size = before.size * after.size, before.size + after.size
    if 2 * wins <= pairs + 1:
        return 1.0  # at least an even chance: not worth the rest
    ties = tie_sizes(np.concatenate((before, after)))
    variance = pairs / 12 * (size + 1 - float((ties**3 - ties).sum()) / (size * (size - 1)))
    return erfc((wins - pairs / 2 - 0.5) / sqrt(2 * variance)) / 2
