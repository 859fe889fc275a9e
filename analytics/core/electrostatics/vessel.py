"""A vessel of a capacitance that is known within a spread, driven at one level: course and peaks.

Charge rises with capacitance, the peak of potential falls with it, and energy may be greatest or
least at some value in between. So each takes the capacitance that is best or worst for it, from a
row of values so close that no figure is more than half a percent from that of any in between.

What bounds the error, with u the logarithm of the capacitance, whatever the record:

- Charge never falls with u and the peak of potential never rises, so that the logarithm of the
  peak of energy changes by no more than u does: slopes lie from -1 to 1.
- At any moment the charge is a sum of what came in, each part times exp(-a/C), where a is what has
  leaked since. So the second derivative of the logarithm of its energy is at least -1 less the
  first, and a maximum is no more than exp(d) - 1 - d above what is found d beside it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial, reduce

import numpy as np

from analytics.core.electrostatics.charging import potential
from analytics.core.electrostatics.crossing import above
from analytics.core.electrostatics.energy import (
    charge_uC,
    potential_for_energy_V,
    stored_energy_mJ,
)
from analytics.core.electrostatics.spread import Level, Spread
from bondtrail.samples import ValueArray

CLOSE = 1.2
"""How far apart capacitances are at the high level: half of it is exp(0.091), 0.43 % at most."""
APART = 2.0
"""How far apart they are at the low level to begin with."""
ENOUGH = 0.005
"""How much less, in parts of itself, the least peak of energy may be than what was found."""
MOST = 40
"""So many are worked out at the low level at most, whatever the record."""


@dataclass(frozen=True, slots=True, eq=False)
class Charged:
    """What one level comes to.

    Attributes
    ----------
    potential_V, charge_uC, energy_mJ : ndarray of float64, shape (n + 1,)
        Before, between and after n steps: at the low level the least that any capacitance gives at
        that moment, at the high level the greatest.
    peak_potential_V, peak_charge_uC, peak_energy_mJ : float
        At the low level of the capacitance whose peak is least, at the high level greatest.
    first : tuple of (int, float) or None
        The step on which the ignition energy is first reached, and how far into it [s]. At the low
        level the latest of all, and None if any capacitance stays below; at the high level the
        earliest. None where it is not known.
    seconds : float or None
        For how long it is reached. None where it is not known. [s]
    """

    potential_V: ValueArray
    charge_uC: ValueArray
    energy_mJ: ValueArray
    peak_potential_V: float
    peak_charge_uC: float
    peak_energy_mJ: float
    first: tuple[int, float] | None
    seconds: float | None


def capacitances(spread: Spread, level: Level) -> ValueArray:
    """Return the capacitances to work out at a level, rising, shape (m,). [pF]

    The typical one alone; else ends, typical and what lies between, no two more than a factor apart
    of `CLOSE` at the high level, of `APART` at the low one, where more are chosen as they are seen.
    """
    if level is Level.TYPICAL or spread.low == spread.high:
        return np.array([spread.typical])
    factor = APART if level is Level.LOW else CLOSE
    values = [spread.low]
    for end in (spread.typical, spread.high):
        count = max(math.ceil(math.log(end / values[-1]) / math.log(factor)), 1)
        values += np.geomspace(values[-1], end, count + 1)[1:].tolist()
    return np.unique(values)


def charged(
    level: Level,
    step_s: ValueArray,
    current_A: ValueArray,
    resistance_ohm: ValueArray,
    capacitance_pF: Spread,
    mie_mJ: float | None,
) -> Charged:
    """Return what a vessel without charge comes to on n steps.

    Parameters
    ----------
    level : Level
        Which end of the capacitance to take.
    step_s, current_A, resistance_ohm : ndarray of float64, shape (n,)
        As of `charging.potential`, n at least 1. [s, A, ohm]
    capacitance_pF : Spread
        Of the vessel, above 0. [pF]
    mie_mJ : float or None
        The ignition energy to compare with, above 0. [mJ]
    """
    peaks: dict[float, float] = {}

    def of(pico: float) -> Charged:
        found = _with(pico, step_s, current_A, resistance_ohm, mie_mJ)
        peaks[pico] = found.peak_energy_mJ
        return found

    # One after the other: of a long record, all of them at once would fill the memory.
    found = reduce(partial(_either, level), map(of, capacitances(capacitance_pF, level).tolist()))
    while level is Level.LOW and (pico := _where_less(peaks)) is not None:
        found = _either(level, found, of(pico))
    return found


def _where_less(peaks: Mapping[float, float]) -> float | None:
    """Return the capacitance at which the peak of energy may be least; None if near enough. [pF]

    ``peaks`` are those that are known, by capacitance. From each of two neighbours its logarithm
    falls by no more than that of the capacitance grows or shrinks: the least that could be is where
    both meet.
    """
    if len(peaks) < 2 or len(peaks) >= MOST or min(peaks.values()) <= 0:
        return None
    pico = np.sort(list(peaks))
    u, energy = np.log(pico), np.log([peaks[each] for each in pico.tolist()])
    least = (energy[1:] + energy[:-1] - np.diff(u)) / 2
    lowest = int(least.argmin())
    if least[lowest] >= energy.min() - ENOUGH:
        return None
    meets = (u[lowest] + u[lowest + 1] + energy[lowest] - energy[lowest + 1]) / 2
    return float(np.exp(meets))


def _with(
    capacitance_pF: float,
    step_s: ValueArray,
    current_A: ValueArray,
    resistance_ohm: ValueArray,
    mie_mJ: float | None,
) -> Charged:
    """Return what a vessel of one capacitance comes to."""
    farad = capacitance_pF * 1e-12
    volts = potential(step_s, current_A, resistance_ohm, farad)
    charge = np.asarray(charge_uC(capacitance_pF, volts))
    energy = np.asarray(stored_energy_mJ(capacitance_pF, volts))
    first = seconds = None
    if mie_mJ is not None:
        level_V = float(potential_for_energy_V(mie_mJ, capacitance_pF))
        crossed = above(level_V, volts, step_s, current_A, resistance_ohm, farad)
        first = None if crossed.step is None else (crossed.step, crossed.after_s)
        seconds = crossed.seconds
    peaks = float(volts.max()), float(charge.max()), float(energy.max())
    return Charged(volts, charge, energy, *peaks, first, seconds)


def _either(level: Level, one: Charged, other: Charged) -> Charged:
    """Return the lesser of two in everything at the low level, else the greater."""
    course, figure = (np.minimum, min) if level is Level.LOW else (np.maximum, max)
    firsts = [each.first for each in (one, other) if each.first is not None]
    if level is Level.LOW:
        first = max(firsts) if len(firsts) == 2 else None
    else:
        first = min(firsts, default=None)
    return Charged(
        course(one.potential_V, other.potential_V),
        course(one.charge_uC, other.charge_uC),
        course(one.energy_mJ, other.energy_mJ),
        figure(one.peak_potential_V, other.peak_potential_V),
        figure(one.peak_charge_uC, other.peak_charge_uC),
        figure(one.peak_energy_mJ, other.peak_energy_mJ),
        first,
        None
        if one.seconds is None or other.seconds is None
        else figure(one.seconds, other.seconds),
    )
