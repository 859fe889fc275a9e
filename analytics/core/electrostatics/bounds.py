"""What a formula takes: numbers within its valid range, or an error that says which is not."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from bondtrail.samples import ValueArray

Numeric = float | ValueArray


def within(
    name: str,
    value: npt.ArrayLike,
    unit: str,
    *,
    above: float = -np.inf,
    at_least: float = -np.inf,
    at_most: float = np.inf,
    infinite: bool = False,
) -> ValueArray:
    """Return an argument as an array of float64, once it is within its bounds.

    Parameters
    ----------
    name : str
        Of the argument, as the error names it.
    value : array_like of float
        NaN stands for not known, and is let through.
    unit : str
        As it is printed; empty where there is none.
    above, at_least, at_most : float
        The bounds, the first of them not itself allowed.
    infinite : bool
        Whether an infinite value makes sense.

    Raises
    ------
    ValueError
        If a value is out of bounds: with name, bound and the first such value.
    """
    given = np.asarray(value, dtype=np.float64)
    for wrong, bound in (
        (np.isinf(given) & (not infinite), "finite"),
        (given < at_least, f"at least {at_least:g}"),
        (given > at_most, f"at most {at_most:g}"),
        (given <= above, f"above {above:g}"),
    ):
        if wrong.any():
            found = float(given[wrong].flat[0])
            raise ValueError(f"{name} must be {bound} {unit}".rstrip() + f", got {found:g}")
    return given


def number(
    name: str,
    value: float,
    unit: str,
    *,
    above: float = -np.inf,
    at_least: float = -np.inf,
    infinite: bool = False,
) -> float:
    """Return an argument that is one number and has to be known; else as `within`.

    Raises
    ------
    ValueError
        If it is out of its bounds, or NaN.
    """
    if np.isnan(value):
        raise ValueError(f"{name} must be a number, got nan")
    return float(within(name, value, unit, above=above, at_least=at_least, infinite=infinite))
