"""A vessel of a capacitance that is known within a spread, driven at one level: course and peaks.

Charge rises with capacitance, the peak of potential falls with it, and energy is greatest at some
value in between. So each takes the capacitance that is worst for it, from a row of values so close
that with a steady current the energy between two of them is at most a twentieth more.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analytics.core.electrostatics.charging import potential
from analytics.core.electrostatics.crossing import Above, above
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
    pico = capacitances(capacitance_pF, level)
    volts = potential(step_s, current_A, resistance_ohm, pico * 1e-12)
    most = 0 if level is Level.LOW else -1  # charge rises with capacitance, at every moment
    charges = np.asarray(charge_uC(float(pico[most]), volts[most]))
    energies = np.asarray(stored_energy_mJ(pico[:, np.newaxis], volts))
    crossed = (
        None
        if mie_mJ is None
        else [
            above(
                float(potential_for_energy_V(mie_mJ, each)),
                course,
                step_s,
                current_A,
                resistance_ohm,
                each * 1e-12,
            )
            for each, course in zip(pico.tolist(), volts, strict=True)
        ]
    )
    extreme = np.min if level is Level.LOW else np.max
    return Charged(
        potential_V=extreme(volts, axis=0),
        charge_uC=charges,
        energy_mJ=extreme(energies, axis=0),
        peak_potential_V=float(extreme(volts.max(axis=1))),
        peak_charge_uC=float(charges.max()),
        peak_energy_mJ=float(extreme(energies.max(axis=1))),
        first=None if crossed is None else _first(level, crossed),
        seconds=None if crossed is None else float(extreme([each.seconds for each in crossed])),
    )


def _first(level: Level, crossed: list[Above]) -> tuple[int, float] | None:
    reached = [(each.step, each.after_s) for each in crossed if each.step is not None]
    if level is Level.LOW:
        return max(reached) if len(reached) == len(crossed) else None
    return min(reached, default=None)
