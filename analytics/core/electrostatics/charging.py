"""The vessel as a capacitor with a leak: its potential over time, exact on every step.

On a step of constant current and resistance ``dV/dt = I/C - V/(R C)`` has the solution
``V(t) = V(0) exp(-x) + (I t/C) (1 - exp(-x))/x`` with ``x = t/(R C)``. So each step turns the
potential before it into the one after it by ``V -> decay V + gain``, and many steps at once are a
linear recurrence: worked out block by block, all blocks side by side, then carried from block to
block, instead of step by step.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from bondtrail.samples import ValueArray

STEPS_AT_ONCE = 65_536
"""Steps of all bands together that are in work: they bound the memory. Measured: half or twice as
many take longer."""
BLOCK = 32
"""Steps of a block. Measured: 16 and 64 take longer."""

_SMALL = 0.7
"""Below, 1 - exp(-x) loses digits and expm1 does not; above, 1 + expm1(-x) does."""
_FARTHEST = 700.0
"""exp(-700) = 1e-304 of a charge is none."""


def potential(
    step_s: npt.ArrayLike,
    current_A: npt.ArrayLike,
    resistance_ohm: npt.ArrayLike,
    capacitance_F: npt.ArrayLike,
    initial_V: npt.ArrayLike = 0.0,
) -> ValueArray:
    """Return the potential of a vessel before, between and after n steps.

    Parameters
    ----------
    step_s : array_like, shape (n,)
        How long each step lasts, >= 0. [s]
    current_A : array_like, shape (..., n)
        Charging current on each step, >= 0: its size, whatever its sign. [A]
    resistance_ohm : array_like, shape (..., n)
        Of the leak on each step, >= 0: 0 is a perfect bond, ``inf`` no leak at all. [ohm]
    capacitance_F : array_like, shape (...)
        Of the vessel to ground, > 0. [F]
    initial_V : array_like, shape (...)
        Potential before the first step, >= 0. [V]

    Returns
    -------
    ndarray of float64, shape (..., n + 1)
        In the broadcast shape of the leading axes, which are bands worked out side by side. Never
        negative; within a step it moves one way, so that the greatest of all is among these. [V]

    Raises
    ------
    ValueError
        If a value is outside the limits above, or the shapes do not fit.

    Notes
    -----
    Exact to rounding for any R C, from none to no leak at all. A step without length changes
    nothing, whatever the resistance. Memory beyond the outcome does not grow with n.

    References
    ----------
    The circuit of a capacitor and a resistor in parallel: any text of electricity. As a model of
    an isolated vessel: D. A. Crowl and J. F. Louvar, Chemical Process Safety, the chapter on fires
    and explosions (from memory).
    """
    step = np.asarray(step_s, np.float64)
    capacitance = np.asarray(capacitance_F, np.float64)[..., np.newaxis]
    initial = np.asarray(initial_V, np.float64)
    if step.ndim != 1:
        raise ValueError(f"step_s must have one axis, got shape {step.shape}")
    _require("capacitance_F", "above 0", capacitance, capacitance > 0)
    _require("initial_V", "at least 0", initial, initial >= 0)
    current, resistance, bands = _bands(step, current_A, resistance_ohm, capacitance, initial)
    edges = np.empty((*bands, step.size + 1))
    edges[..., 0] = initial
    length = max(STEPS_AT_ONCE // max(int(np.prod(bands)), 1), BLOCK)
    for low in range(0, step.size, length):
        part = slice(low, min(low + length, step.size))
        decay, gain = transition(step[part], current[..., part], resistance[..., part], capacitance)
        edges[..., part.start + 1 : part.stop + 1] = recurrence(decay, gain, edges[..., low])
    return edges


def transition(
    step_s: ValueArray, current_A: ValueArray, resistance_ohm: ValueArray, capacitance_F: ValueArray
) -> tuple[ValueArray, ValueArray]:
    """Return what each step does: ``V -> decay V + gain``.

    Parameters
    ----------
    step_s, current_A, resistance_ohm, capacitance_F : ndarray of float64
        As of `potential`; shapes broadcast. [s, A, ohm, F]

    Returns
    -------
    decay, gain : ndarray of float64
        In the broadcast shape. [-, V]

    Raises
    ------
    ValueError
        If a value is outside its limits.
    """
    _require("step_s", "at least 0", step_s, step_s >= 0)
    _require("current_A", "at least 0", current_A, current_A >= 0)
    _require("resistance_ohm", "at least 0", resistance_ohm, resistance_ohm >= 0, infinite=True)
    with np.errstate(divide="ignore", over="ignore", under="ignore", invalid="ignore"):
        x = step_s / (resistance_ohm * capacitance_F)
        np.copyto(x, 0.0, where=step_s == 0)  # 0/0: no time for a perfect bond to act in
        decay, lost = _decay(x)
        share = np.divide(lost, x, out=lost)
        np.copyto(share, 1.0, where=x == 0)
        return decay, np.multiply(share, current_A * (step_s / capacitance_F), out=share)


def _decay(x: ValueArray) -> tuple[ValueArray, ValueArray]:
    """Return exp(-x) and 1 - exp(-x) to full precision, by one exponential or none for each x.

    A vessel that is bonded has lost all within a step: that takes none.
    """
    decay = np.zeros(x.shape)
    some = np.flatnonzero((x >= _SMALL) & (x < _FARTHEST))
    decay.put(some, np.exp(-x.take(some)))
    lost = 1.0 - decay
    little = np.flatnonzero(x < _SMALL)
    minus = np.expm1(-x.take(little))
    lost.put(little, -minus)
    decay.put(little, np.add(minus, 1.0, out=minus))
    return decay, lost


def recurrence(decay: ValueArray, gain: ValueArray, start: ValueArray) -> ValueArray:
    """Return ``v[k] = decay[k] v[k - 1] + gain[k]`` for all k, from ``v[-1] = start``.

    Parameters
    ----------
    decay, gain : ndarray of float64, shape (..., n)
        ``decay`` from 0 to 1: products of it can vanish, which is right, but never grow.
    start : ndarray of float64, shape (...)

    Returns
    -------
    ndarray of float64, shape (..., n)
    """
    size = decay.shape[-1]
    kept, added = _in_blocks(decay, 1.0), _in_blocks(gain, 0.0)
    _chain(kept, added)
    begins = _begins(kept[-1], added[-1], start)
    added += np.multiply(kept, begins, out=kept)
    return np.moveaxis(added, 0, -1).reshape(*decay.shape[:-1], -1)[..., :size]


def _chain(kept: ValueArray, added: ValueArray) -> None:
    """Make each step of every block, in place, say what all steps up to it do together."""
    room = np.empty_like(kept[0])
    rows = zip(kept, added, strict=True)
    last_kept, last_added = next(rows)
    for row_kept, row_added in rows:
        np.multiply(row_kept, last_added, out=room)
        np.add(row_added, room, out=row_added)
        np.multiply(row_kept, last_kept, out=row_kept)
        last_kept, last_added = row_kept, row_added


def _begins(kept: ValueArray, added: ValueArray, start: ValueArray) -> ValueArray:
    """Return the value before each block, of which each does ``v -> kept v + added``.

    Blocks are joined to ones of twice the length until each begins with the first: as many passes
    as the number of blocks has binary digits.
    """
    kept, added = kept.copy(), added.copy()
    apart = 1
    while apart < kept.shape[-1]:
        added[..., apart:] += kept[..., apart:] * added[..., :-apart]
        kept[..., apart:] *= kept[..., :-apart].copy()
        apart *= 2
    first = start[..., np.newaxis]
    return np.concatenate((first, (kept * first + added)[..., :-1]), axis=-1)


def _in_blocks(values: ValueArray, filling: float) -> ValueArray:
    """Return values of shape (..., n) as (`BLOCK`, ..., blocks): the k-th of all blocks adjoin."""
    *bands, size = values.shape
    blocks = -(-size // BLOCK)
    if size < blocks * BLOCK:
        rest = np.full((*bands, blocks * BLOCK - size), filling)
        values = np.concatenate((values, rest), axis=-1)
    return np.ascontiguousarray(np.moveaxis(values.reshape(*bands, blocks, BLOCK), -1, 0))


def _bands(
    step: ValueArray,
    current_A: npt.ArrayLike,
    resistance_ohm: npt.ArrayLike,
    capacitance: ValueArray,
    initial: ValueArray,
) -> tuple[ValueArray, ValueArray, tuple[int, ...]]:
    """Return current and resistance in the shape of all bands and steps, and the bands' shape."""
    current = np.asarray(current_A, np.float64)
    resistance = np.asarray(resistance_ohm, np.float64)
    bands = np.broadcast_shapes(
        current.shape[:-1], resistance.shape[:-1], capacitance.shape[:-1], initial.shape
    )
    shape = (*bands, step.size)
    return np.broadcast_to(current, shape), np.broadcast_to(resistance, shape), bands


def _require(
    name: str,
    bound: str,
    values: ValueArray,
    holds: npt.NDArray[np.bool_],
    *,
    infinite: bool = False,
) -> None:
    """Refuse values that are out of a bound, no number, or infinite where that makes no sense."""
    if not infinite:
        holds = holds & (values < np.inf)
    if not holds.all():
        first = float(values[~holds].flat[0])
        wanted = bound if infinite else f"finite and {bound}"
        raise ValueError(f"{name} must be {wanted}, got {first:g}")
