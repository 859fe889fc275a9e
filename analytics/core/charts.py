"""Charts that tell chance from cause: shares over time with their limits, and the vital few."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analytics.core.shares import Floats

Mask = npt.NDArray[np.bool_]

SIGMAS = 3.0
"""How many standard deviations from the centre the limits lie."""

ENOUGH = 5.0
"""So many expected on either side make the limits good."""


@dataclass(frozen=True, slots=True, eq=False)
class PChart:
    """A share over time with its limits.

    Attributes
    ----------
    share : ndarray of float64, shape (n,)
        NaN where there was nothing to count among.
    centre : float or None
        Share of all together; None where there was nothing at all.
    lower, upper : ndarray of float64, shape (n,)
        Between them a share varies by chance alone; wider where there was less to count among.
        NaN where there was nothing.
    outside : ndarray of bool, shape (n,)
        Where the share lies outside its limits.
    is_rough : ndarray of bool, shape (n,)
        Where fewer than five are expected on one side, so that the limits are a rough guide and
        a share outside them is a weak sign.
    """

    share: Floats
    centre: float | None
    lower: Floats
    upper: Floats
    outside: Mask
    is_rough: Mask


@dataclass(frozen=True, slots=True)
class ParetoRow:
    """One cause, its share of all, and the share of it and all before it."""

    name: str
    count: int
    share: float
    cumulative: float


def p_chart(defective: Sequence[int], of: Sequence[int]) -> PChart:
    """Return a share over time with limits of three standard deviations.

    Parameters
    ----------
    defective, of : sequence of int, length n
        So many of so many in each period; ``0 <= defective <= of``.

    Raises
    ------
    ValueError
        If a count lies outside that, or there are not as many of one as of the other.

    Notes
    -----
    ``p +- 3 sqrt(p (1 - p) / n)``, kept within 0 and 1 [1]_. The limits take the normal for the
    binomial distribution, which is good where enough are expected on either side.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2.
    """
    counts, wholes = np.array(defective, np.float64), np.array(of, np.float64)
    if counts.shape != wholes.shape:
        raise ValueError(f"as many counts as wholes are needed, got {len(counts)}, {len(wholes)}")
    if np.any(counts < 0) or np.any(counts > wholes):
        raise ValueError("every count must lie in 0 .. of")
    among = np.where(wholes == 0, np.nan, wholes)
    total = wholes.sum()
    centre = float(counts.sum() / total) if total else np.nan
    reach = SIGMAS * np.sqrt(centre * (1 - centre) / among)
    share, lower, upper = counts / among, centre - reach, centre + reach
    return PChart(
        share=share,
        centre=centre if total else None,
        lower=np.clip(lower, 0, 1),
        upper=np.clip(upper, 0, 1),
        outside=(share < lower) | (share > upper),
        is_rough=~(wholes * min(centre, 1 - centre) >= ENOUGH),
    )


def pareto(counts: Mapping[str, int]) -> list[ParetoRow]:
    """Return what is counted, most first, with how much of all it and those before it make.

    Parameters
    ----------
    counts : mapping of str to int
        Count of each name; equal ones stay in this order, and those of 0 are left out.

    Raises
    ------
    ValueError
        If a count is negative.
    """
    if any(count < 0 for count in counts.values()):
        raise ValueError(f"counts must be 0 or more, got {min(counts.values())}")
    total, reached, rows = sum(counts.values()), 0, []
    for name, count in sorted(counts.items(), key=lambda item: -item[1]):
        if count:
            reached += count
            rows.append(ParetoRow(name, count, count / total, reached / total))
    return rows
