"""The current that a powder carries: charge per kilogram by what is done with it."""

from __future__ import annotations

from collections.abc import Mapping
from math import sqrt
from types import MappingProxyType

from analytics.core.electrostatics.bounds import Numeric, within
from analytics.core.electrostatics.spread import Spread

_SOURCE = (
    "charge per mass of medium resistivity powders in NFPA 77, BS 5958 and IEC TS 60079-32-1: from"
    " memory, the widest of the editions recalled; typical is the geometric middle, our choice"
)


def _decades(low: float, high: float) -> Spread:
    return Spread(low, sqrt(low * high), high, "uC/kg", _SOURCE)


OPERATIONS: Mapping[str, Spread] = MappingProxyType(
    {
        "sieving": _decades(1e-5, 1e-3),
        "pouring": _decades(1e-3, 10),
        "scroll_feed": _decades(1e-2, 1),
        "grinding": _decades(0.1, 1),
        "micronising": _decades(0.1, 100),
        "sliding": _decades(0.1, 10),
        "pneumatic_conveying": _decades(0.1, 1000),
    }
)
"""What powders charge to, by operation: orders of magnitude, not figures. [uC/kg]"""


def charging_current_A(mass_flow_kg_min: Numeric, charge_uC_kg: Numeric) -> Numeric:
    """Return the current that a charged powder carries into a vessel. [A]

    Parameters
    ----------
    mass_flow_kg_min : float or ndarray
        0 or more. [kg/min]
    charge_uC_kg : float or ndarray
        Charge per mass, 0 or more: its size, whatever its sign. [uC/kg]

    Returns
    -------
    float or ndarray
        In the shape of both together; NaN for NaN. [A]

    Raises
    ------
    ValueError
        If a value is out of those bounds.

    Notes
    -----
    All of the charge is taken to reach the vessel's metal, which is the most that it can see.
    Powder that insulates keeps charge in its heap, where cone discharges and, with lined walls,
    propagating brush discharges come from: no charge on metal tells of those.
    """
    mass_flow = within("mass_flow_kg_min", mass_flow_kg_min, "kg/min", at_least=0)
    charge = within("charge_uC_kg", charge_uC_kg, "uC/kg", at_least=0)
    return mass_flow / 60 * charge * 1e-6
