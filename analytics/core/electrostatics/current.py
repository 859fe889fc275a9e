"""The current that a product carries into the vessel, at the three levels."""

from __future__ import annotations

import numpy as np

from analytics.core.electrostatics.drive import Levels
from analytics.core.electrostatics.inputs import OPPOSITE, Inputs
from analytics.core.electrostatics.powders import charging_current_A
from analytics.core.electrostatics.relaxation import (
    SLOWER_BEHIND_FILTER,
    fastest_relaxation_time,
    remaining_fraction,
    remaining_fraction_hyperbolic,
)
from analytics.core.electrostatics.spread import Level, Spread
from analytics.core.electrostatics.streaming import (
    charging_fraction,
    filter_current,
    streaming_current_A,
    velocity_m_s,
)
from bondtrail.samples import ValueArray

AGES_S = 1e12
"""Longer than any liquid is in a pipe, and a number that can be reckoned with: our own choice."""


def powder_currents(flow_kg_min: Levels, charge_uC_kg: Spread) -> Levels:
    """Return the current of a powder, shape (n,). [A]"""
    return {
        level: np.asarray(charging_current_A(flow, charge_uC_kg.at(level)))
        for level, flow in flow_kg_min.items()
    }


def liquid_currents(flow_L_min: Levels, inputs: Inputs, bore_m: float) -> Levels:
    """Return the current of a liquid: of the pipe, and what is left of the filter's. [A]

    Parameters
    ----------
    flow_L_min : mapping of Level to ndarray of float64, shape (n,)
        0 or more. [L/min]
    inputs : Inputs
        Forms of the streaming current, pipe length, filter and liquid.
    bore_m : float
        Of the pipe, above 0. [m]

    Notes
    -----
    The faster charge leaves the liquid, the more a short pipe gives, and the less is left of a
    filter's: each level takes the end of the relaxation time that fits it. Real charge does not
    keep to Ohm's law, so the ends are wider than the conductivity's:

    - of the pipe, the high level takes no longer a relaxation time than
      `relaxation.fastest_relaxation_time`;
    - of the filter, the high level takes `relaxation.SLOWER_BEHIND_FILTER` times the longest, the
      low level the faster of Ohm's law and `relaxation.remaining_fraction_hyperbolic`.

    Where the length of the pipe or the relaxation time is not known, the pipe counts as long, and
    of the filter's charge nothing is left at the low level, all of it at the others.

    Both currents are sizes of unknown sign. They are added at the typical and the high level; at
    the low one they work against each other, each anywhere between its own low and high: nothing
    where those ranges meet, else what lies between them.
    """
    pipe = {level: _of_pipe(flow, level, inputs, bore_m) for level, flow in flow_L_min.items()}
    rest = {level: _of_filter(flow, level, inputs, bore_m) for level, flow in flow_L_min.items()}
    added = {level: pipe[level] + rest[level] for level in flow_L_min}
    return {**added, Level.LOW: _apart(pipe, rest)}


def _apart(one: Levels, other: Levels) -> ValueArray:
    """Return the least that is left where two work against each other, each within its levels."""
    low, high = Level.LOW, Level.HIGH
    least = np.maximum(one[low] - other[high], other[low] - one[high])
    return np.maximum(least, 0.0)


def _of_pipe(flow: ValueArray, level: Level, inputs: Inputs, bore_m: float) -> ValueArray:
    velocity = velocity_m_s(flow, bore_m)
    current = np.asarray(streaming_current_A(velocity, bore_m, inputs.forms[level]))
    length, tau = inputs.pipe_length_m, _relaxation_in_pipe(level, inputs)
    if length is None or tau is None:
        return current
    return current * charging_fraction(length.typical, velocity, tau)


def _relaxation_in_pipe(level: Level, inputs: Inputs) -> float | None:
    """Return the relaxation time by which charge builds up in the pipe. [s]"""
    kappa, eps_r, tau = (
        inputs.conductivity_pS_m,
        inputs.relative_permittivity,
        inputs.relaxation_time_s,
    )
    if kappa is None or eps_r is None or tau is None:
        return None
    if level is Level.HIGH:
        return float(fastest_relaxation_time(kappa.high, eps_r.low))
    return tau.at(OPPOSITE[level])


def _of_filter(flow: ValueArray, level: Level, inputs: Inputs, bore_m: float) -> ValueArray:
    if inputs.filter_charge_uC_m3 is None:
        return np.zeros(flow.size)
    density = inputs.filter_charge_uC_m3.at(level)
    left = _left_of_filter(flow, level, density, inputs, bore_m)
    return np.asarray(filter_current(flow / 60_000, density, left))


def _left_of_filter(
    flow: ValueArray, level: Level, density_uC_m3: float, inputs: Inputs, bore_m: float
) -> ValueArray:
    """Return which share of the filter's charge is left behind the pipe, shape (n,)."""
    length = inputs.pipe_length_m
    eps_r, tau = inputs.relative_permittivity, inputs.relaxation_time_s
    if length is None or eps_r is None or tau is None:
        return np.full(flow.size, 0.0 if level is Level.LOW else 1.0)
    passed = _passed_s(flow, length.typical, bore_m)
    slower = SLOWER_BEHIND_FILTER if level is Level.HIGH else 1.0
    ohmic = np.asarray(remaining_fraction(passed, slower * tau.at(level)))
    if level is not Level.LOW:
        return ohmic
    freely = np.asarray(remaining_fraction_hyperbolic(passed, density_uC_m3, eps_r.low))
    least: ValueArray = np.minimum(ohmic, freely)
    return least


def _passed_s(flow: ValueArray, length_m: float, bore_m: float) -> ValueArray:
    """Return how long the liquid was in the pipe, `AGES_S` at most and where it rests. [s]"""
    velocity = np.asarray(velocity_m_s(flow, bore_m))
    passed: ValueArray = length_m / np.maximum(velocity, length_m / AGES_S)
    return passed
