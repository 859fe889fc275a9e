"""The current that a product carries into the vessel, at the three levels."""

from __future__ import annotations

import numpy as np

from analytics.core.electrostatics.drive import Levels
from analytics.core.electrostatics.inputs import OPPOSITE, Inputs
from analytics.core.electrostatics.powders import charging_current_A
from analytics.core.electrostatics.spread import Level, Spread
from analytics.core.electrostatics.streaming import (
    charging_fraction,
    filter_current,
    streaming_current_A,
    velocity_m_s,
)
from bondtrail.samples import ValueArray


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
    filter's: each level takes the end of the relaxation time that fits it. Where the length of the
    pipe or the relaxation time is not known, the pipe counts as long, and of the filter's charge
    nothing is left at the low level, all of it at the others.
    """
    return {
        level: _of_pipe(flow, level, inputs, bore_m) + _of_filter(flow, level, inputs, bore_m)
        for level, flow in flow_L_min.items()
    }


def _of_pipe(flow: ValueArray, level: Level, inputs: Inputs, bore_m: float) -> ValueArray:
    velocity = velocity_m_s(flow, bore_m)
    current = np.asarray(streaming_current_A(velocity, bore_m, inputs.forms[level]))
    relaxed = _relaxed(flow, OPPOSITE[level], inputs, bore_m)
    return current if relaxed is None else current * relaxed


def _of_filter(flow: ValueArray, level: Level, inputs: Inputs, bore_m: float) -> ValueArray:
    if inputs.filter_charge_uC_m3 is None:
        return np.zeros(flow.size)
    relaxed = _relaxed(flow, level, inputs, bore_m)
    if relaxed is None:
        relaxed = np.full(flow.size, 1.0 if level is Level.LOW else 0.0)
    density = inputs.filter_charge_uC_m3.at(level)
    return np.asarray(filter_current(flow / 60_000, density, 1.0 - relaxed))


def _relaxed(flow: ValueArray, end: Level, inputs: Inputs, bore_m: float) -> ValueArray | None:
    """Return which share of a charge the pipe's length lets go; ``end`` of the relaxation time."""
    length, tau = inputs.pipe_length_m, inputs.relaxation_time_s
    if length is None or tau is None:
        return None
    velocity = velocity_m_s(flow, bore_m)
    return np.asarray(charging_fraction(length.typical, velocity, tau.at(end)))
