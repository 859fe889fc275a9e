"""Units of the site file: what to multiply a reading by so that Bondtrail can keep it."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal

from bondtrail.site_tables import Role
from bondtrail.units import UnitError, factor, refused, shown_unit

__all__ = ["Phase", "UnitError", "flow_scale", "rate_factor", "resistance_scale", "scale_of"]

Phase = Literal["liquid", "powder"]

OHM = "ohm"
LITRES = "L/min"
KILOGRAMS = "kg/min"

_RESISTANCE = "a unit of resistance, such as ohm, kohm or Mohm"
_RATES: dict[Phase | None, str] = {
    "liquid": "a volume rate, such as L/min or m3/h",
    "powder": "a mass rate, such as kg/min or t/h",
    None: "a volume rate such as L/min or m3/h, or a mass rate such as kg/min or t/h",
}
_RESISTANCES_MEANT = {"kohm": "kohm", "megohm": "Mohm"}
_RATES_MEANT = {
    "lpm": "L/min",
    "l/min": "L/min",
    "lph": "L/h",
    "l/h": "L/h",
    "gpm": "gal/min (US) or imperial_gallon/min",
    "cfm": "ft3/min",
    "cmh": "m3/h",
    "m3/h": "m3/h",
    "kg/h": "kg/h",
    "kg/min": "kg/min",
    "tph": "t/h",
    "t/h": "t/h",
}
"""Habits of the trade that are no units, and units in the wrong case."""


def resistance_scale(unit: str | None) -> float:
    """Return what a reading in ``unit`` is multiplied by to be in ohm; no unit means ohm.

    Raises
    ------
    UnitError
        If it is no unit of resistance.
    """
    if unit is None or unit == OHM:
        return 1.0
    scale = factor(unit, OHM, _RESISTANCE, _RESISTANCES_MEANT)
    if scale is None:
        raise refused(unit, "no unit of resistance", _RESISTANCE, _RESISTANCES_MEANT)
    return float(scale)


def flow_scale(unit: str | None, phase: Phase | None) -> tuple[float, Literal["L", "kg"]]:
    """Return what a reading of flow is multiplied by, and what the flow then adds up to.

    Parameters
    ----------
    unit : str or None
        As written; None means L/min, or kg/min for a powder.
    phase : {"liquid", "powder"} or None
        Of the station's product: a liquid is measured by volume, a powder by mass. None where
        no product is named; the unit alone decides then.

    Raises
    ------
    UnitError
        If it is no rate of flow, or not the kind of rate that the phase asks for.
    """
    if unit is None:
        return (1.0, "kg") if phase == "powder" else (1.0, "L")
    scale, adds_up_to = rate_factor(unit, phase)
    return float(scale), adds_up_to


def rate_factor(unit: str, phase: Phase | None) -> tuple[Fraction, Literal["L", "kg"]]:
    """Return what a rate of flow is multiplied by, exactly, and what it then adds up to.

    Raises
    ------
    UnitError
        As `flow_scale`.
    """
    right = _RATES[phase]
    by_volume = factor(unit, LITRES, right, _RATES_MEANT)
    by_mass = factor(unit, KILOGRAMS, right, _RATES_MEANT)
    if by_volume is None and by_mass is None:
        raise refused(unit, "no rate of flow", right, _RATES_MEANT)
    if by_volume is not None and phase != "powder":
        return by_volume, "L"
    if by_mass is not None and phase != "liquid":
        return by_mass, "kg"
    measured = "volume" if by_mass is None else "mass"
    raise UnitError(f"{unit!r} is a rate of {measured}, but the product is a {phase}", right)


def scale_of(role: Role, unit: str | None, phase: Phase | None) -> float:
    """Return what a reading of this role is multiplied by; contacts and codes have no unit.

    Raises
    ------
    UnitError
        If the unit does not fit the role, or the phase of the product.
    """
    if role is Role.RESISTANCE:
        return resistance_scale(unit)
    if role is Role.FLOW:
        return flow_scale(unit, phase)[0]
    if unit is not None:
        raise UnitError(f"{role} has no unit, but {shown_unit(unit)} is given", "this key left out")
    return 1.0
