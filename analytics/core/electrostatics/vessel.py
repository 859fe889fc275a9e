"""A vessel of a capacitance that is known within a spread, driven at one level: course and peaks.

Charge rises with capacitance, the peak of potential falls with it, and energy is greatest at some
value in between. So each takes the capacitance that is worst for it, from a row of values so close
that with a steady current the energy between two of them is at most a twentieth more.
"""

from __future__ import annotations

import math
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

    The typical one alone, or ends, typical and what lies between, no two more than twice apart.
    """
    if level is Level.TYPICAL or spread.low == spread.high:
        return np.array([spread.typical])
    values = [spread.low]
    for end in (spread.typical, spread.high):
        count = max(math.ceil(math.log2(end / values[-1])), 1)
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
    # One after the other: of a long record, all of them at once would fill the memory.
    each = (
        _with(pico, step_s, current_A, resistance_ohm, mie_mJ)
        for pico in capacitances(capacitance_pF, level).tolist()
    )
    return reduce(partial(_either, level), each)


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
