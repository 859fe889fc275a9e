"""The vessel as a capacitor with a leak: its potential over time, exact on every step.

On a step of constant current and resistance ``dV/dt = I/C - V/(R C)`` has the solution
``V(t) = V(0) exp(-x) + (I t/C) (1 - exp(-x))/x`` with ``x = t/(R C)``. So each step turns the
potential before it into the one after it by ``V -> decay V + gain``, and many steps at once are a
linear recurrence: worked out block by block, all blocks side by side, then carried from block to
block, instead of step by step.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bondtrail.samples import ValueArray

STEPS_AT_ONCE = 65_536
"""Steps of all bands together that are in work: they bound the memory. Measured: a quarter of it
takes a third longer, twice as many gain nothing."""
BLOCK = 32
"""Steps of a block. Measured: 16 and 64 take about as long."""

_SMALL = 0.7
"""Above, exp(-x) as 1 + expm1(-x) would lose digits."""
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
    room = _Room.of(bands, step.size)
    for low in range(0, step.size, room.length):
        high = min(low + room.length, step.size)
        part, inside = np.s_[..., low:high], np.s_[..., : high - low]
        decay, gain = room.steps(high - low)
        _write_steps(
            step[part], current[part], resistance[part], capacitance, decay[inside], gain[inside]
        )
        edges[..., low + 1 : high + 1] = _carried(decay, gain, edges[..., low], room)[inside]
    return edges


@dataclass(frozen=True, slots=True, eq=False)
class _Room:
    """Arrays to work in, asked for once. Measured: asking for each anew takes twice as long.

    ``decay`` and ``gain`` are of shape (..., length); ``kept`` and ``added`` hold the same as
    (`BLOCK`, ..., blocks), so that the k-th steps of all blocks adjoin.
    """

    decay: ValueArray
    gain: ValueArray
    kept: ValueArray
    added: ValueArray

    @classmethod
    def of(cls, bands: tuple[int, ...], steps: int) -> _Room:
        blocks = min(STEPS_AT_ONCE // max(math.prod(bands), 1), steps) // BLOCK + 1
        whole, apart = (*bands, blocks * BLOCK), (BLOCK, *bands, blocks)
        return cls(np.empty(whole), np.empty(whole), np.empty(apart), np.empty(apart))

    @property
    def length(self) -> int:
        return int(self.decay.shape[-1])

    def steps(self, count: int) -> tuple[ValueArray, ValueArray]:
        """Return decay and gain for so many steps, and for idle ones up to whole blocks."""
        whole = -(-count // BLOCK) * BLOCK
        decay, gain = self.decay[..., :whole], self.gain[..., :whole]
        decay[..., count:], gain[..., count:] = 1.0, 0.0
        return decay, gain


def _write_steps(
    step_s: ValueArray,
    current_A: ValueArray,
    resistance_ohm: ValueArray,
    capacitance_F: ValueArray,
    decay: ValueArray,
    gain: ValueArray,
) -> None:
    """Write to ``decay`` and ``gain`` what each step does: ``V -> decay V + gain``. [-, V]

    Arguments are as of `potential`, all in one shape or to be broadcast.
    """
    _require("step_s", "at least 0", step_s, step_s >= 0)
    _require("current_A", "at least 0", current_A, current_A >= 0)
    _require("resistance_ohm", "at least 0", resistance_ohm, resistance_ohm >= 0, infinite=True)
    with np.errstate(divide="ignore", over="ignore", under="ignore", invalid="ignore"):
        x = np.multiply(resistance_ohm, capacitance_F, out=gain)
        np.divide(step_s, x, out=x)
        np.copyto(x, 0.0, where=step_s == 0)  # 0/0: no time for a perfect bond to act in
        left = x < _FARTHEST
        much = np.flatnonzero(left & (x > _SMALL))
        exact = np.exp(-x.take(much))
        lost = np.negative(x, out=decay)
        if left.any():
            np.expm1(lost, out=lost)  # negated: exp(-x) - 1
        else:  # bonded all along: no exponential at all
            lost.fill(-1.0)
        none = x == 0
        np.divide(lost, x, out=gain)
        np.copyto(gain, -1.0, where=none)
        gain *= current_A
        gain *= step_s / -capacitance_F
        decay += 1.0
        decay.put(much, exact)


def _carried(decay: ValueArray, gain: ValueArray, start: ValueArray, room: _Room) -> ValueArray:
    """Return ``v[k] = decay[k] v[k - 1] + gain[k]`` for all k, from ``v[-1] = start``.

    ``decay`` and ``gain`` are of shape (..., n) with n a multiple of `BLOCK`; ``gain`` is written
    over. Decays are from 0 to 1: products of them can vanish, which is right, but never grow.
    """
    blocks = decay.shape[-1] // BLOCK
    apart = (*decay.shape[:-1], blocks, BLOCK)
    kept, added = room.kept[..., :blocks], room.added[..., :blocks]
    np.copyto(kept, np.moveaxis(decay.reshape(apart), -1, 0))
    np.copyto(added, np.moveaxis(gain.reshape(apart), -1, 0))
    _chain(kept, added)
    kept *= _begins(kept[-1], added[-1], start)
    added += kept
    np.copyto(gain.reshape(apart), np.moveaxis(added, 0, -1))
    return gain


def _chain(kept: ValueArray, added: ValueArray) -> None:
    """Make each step of every block, in place, say what all steps up to it do together."""
    spare = np.empty_like(kept[0])
    rows = zip(kept, added, strict=True)
    last_kept, last_added = next(rows)
    for row_kept, row_added in rows:
        np.multiply(row_kept, last_added, out=spare)
        np.add(row_added, spare, out=row_added)
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
