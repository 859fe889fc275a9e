"""When the potential of a vessel is at or above a level, to within the steps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bondtrail.samples import ValueArray


@dataclass(frozen=True, slots=True)
class Above:
    """When and for how long a level is reached.

    Attributes
    ----------
    step : int or None
        On which step it is first reached, counted from 0; None if it never is.
    after_s : float
        How far into that step. [s]
    seconds : float
        For how long it is reached in all. [s]
    """

    step: int | None
    after_s: float
    seconds: float


def above(
    level_V: float,
    potential_V: ValueArray,
    step_s: ValueArray,
    current_A: ValueArray,
    resistance_ohm: ValueArray,
    capacitance_F: float,
) -> Above:
    """Return when a vessel is at or above a potential.

    Parameters
    ----------
    level_V : float
        Above 0. [V]
    potential_V : ndarray of float64, shape (n + 1,)
        As `charging.potential` gives it for what follows. [V]
    step_s, current_A, resistance_ohm : ndarray of float64, shape (n,)
        As given to it. [s, A, ohm]
    capacitance_F : float
        As given to it. [F]

    Raises
    ------
    ValueError
        If the level is not above 0, or n is 0.

    Notes
    -----
    Within a step the potential moves one way, so that it passes a level once or not at all.
    """
    if not level_V > 0:
        raise ValueError(f"level_V must be above 0, got {level_V:g}")
    if step_s.size == 0:
        raise ValueError("there must be a step at least")
    reached = potential_V >= level_V
    before, after = reached[:-1], reached[1:]
    passing = np.flatnonzero(before != after)
    passed = _time_to_level(
        level_V,
        potential_V[passing],
        current_A[passing],
        resistance_ohm[passing],
        capacitance_F,
    )
    passed = np.clip(passed, 0.0, step_s[passing])  # rounding may put it beyond the step
    upward = after[passing]
    seconds = float(
        step_s[before & after].sum()
        + (step_s[passing] - passed)[upward].sum()
        + passed[~upward].sum()
    )
    if before[0]:
        return Above(0, 0.0, seconds)
    if not upward.any():
        return Above(None, 0.0, seconds)
    first = int(np.argmax(upward))
    return Above(int(passing[first]), float(passed[first]), seconds)


def _time_to_level(
    level_V: float,
    start_V: ValueArray,
    current_A: ValueArray,
    resistance_ohm: ValueArray,
    capacitance_F: float,
) -> ValueArray:
    """Return how long a vessel takes from one potential to another that it does reach. [s]

    Parameters
    ----------
    level_V : float
        Between ``start_V`` and where current and resistance lead in the end, ``I R``. [V]
    start_V, current_A, resistance_ohm : ndarray of float64, shape (n,)
        0 or more; the resistance may be infinite. [V, A, ohm]
    capacitance_F : float
        Above 0. [F]

    Notes
    -----
    ``t = -R C ln(1 - y)`` with ``y = (level - start) / (I R - start)``; as ``u (-ln(1 - y) / y)``
    with ``u = C (level - start) / (I - start / R)``, which stays exact as R grows without end: it
    tends to u, the time of charging without a leak. Without resistance it takes no time.
    """
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        net_A = current_A - start_V / resistance_ohm
        straight = capacitance_F * (level_V - start_V) / net_A
        y = np.minimum(straight / (resistance_ohm * capacitance_F), 1.0)  # rounding may pass 1
        bent = np.where(y > 0, -np.log1p(-y) / y, 1.0)
        return np.where(resistance_ohm > 0, straight * bent, 0.0)
