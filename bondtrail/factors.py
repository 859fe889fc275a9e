"""The units that plants use, with their exact factors: for these no registry has to be made.

That takes half a second, at every start. pint stays the judge: a test holds each row to it
exactly, and units that are not here are asked of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import NamedTuple


class Row(NamedTuple):
    """What a unit comes to in the unit that we keep such a quantity in."""

    ours: str
    factor: Fraction


CUBIC_FOOT = Fraction("28.316846592")
"""In litres, exactly: 0.3048 m cubed. Source: NIST SP 811, appendix B.8."""
GALLON = Fraction("3.785411784")
"""The gallon of the United States in litres, exactly. Source: NIST Handbook 44, appendix C."""
IMPERIAL_GALLON = Fraction("4.54609")
"""In litres, exactly. Source: UK Weights and Measures Act 1985, schedule 1."""
BARREL = 42 * GALLON
"""Of oil, in litres. Source: NIST Handbook 44, appendix C."""
POUND = Fraction("0.45359237")
"""Avoirdupois, in kilograms, exactly. Source: NIST Handbook 44, appendix C."""
INCH = Fraction("0.0254")
"""In metres, exactly. Source: NIST SP 811, appendix B.8."""

_ROWS: list[tuple[str, str, Fraction | int | str]] = [
    ("ohm", "ohm", 1),
    ("uohm", "ohm", "1e-6"),
    ("mohm", "ohm", "1e-3"),
    ("kohm", "ohm", 1000),
    ("kiloohm", "ohm", 1000),
    ("Mohm", "ohm", 10**6),
    ("megaohm", "ohm", 10**6),
    ("Gohm", "ohm", 10**9),
    ("Tohm", "ohm", 10**12),
    ("L/s", "L/min", 60),
    ("l/s", "L/min", 60),
    ("L/min", "L/min", 1),
    ("l/min", "L/min", 1),
    ("liter/min", "L/min", 1),
    ("litre/min", "L/min", 1),
    ("liters/min", "L/min", 1),
    ("litres/min", "L/min", 1),
    ("liter/minute", "L/min", 1),
    ("litre/minute", "L/min", 1),
    ("liters/minute", "L/min", 1),
    ("litres/minute", "L/min", 1),
    ("L/h", "L/min", Fraction(1, 60)),
    ("l/h", "L/min", Fraction(1, 60)),
    ("L/hr", "L/min", Fraction(1, 60)),
    ("l/hr", "L/min", Fraction(1, 60)),
    ("kL/h", "L/min", Fraction(1000, 60)),
    ("mL/s", "L/min", "0.06"),
    ("ml/s", "L/min", "0.06"),
    ("mL/min", "L/min", "1e-3"),
    ("ml/min", "L/min", "1e-3"),
    ("cm3/s", "L/min", "0.06"),
    ("cm3/min", "L/min", "1e-3"),
    ("dm3/s", "L/min", 60),
    ("dm3/min", "L/min", 1),
    ("dm3/h", "L/min", Fraction(1, 60)),
    ("m3/s", "L/min", 60_000),
    ("m3/min", "L/min", 1000),
    ("m3/h", "L/min", Fraction(1000, 60)),
    ("m3/hr", "L/min", Fraction(1000, 60)),
    ("m3/hour", "L/min", Fraction(1000, 60)),
    ("m3/d", "L/min", Fraction(1000, 1440)),
    ("m3/day", "L/min", Fraction(1000, 1440)),
    ("ft3/s", "L/min", 60 * CUBIC_FOOT),
    ("ft3/min", "L/min", CUBIC_FOOT),
    ("ft3/h", "L/min", CUBIC_FOOT / 60),
    ("ft3/hr", "L/min", CUBIC_FOOT / 60),
    ("gal/s", "L/min", 60 * GALLON),
    ("gal/min", "L/min", GALLON),
    ("gal/h", "L/min", GALLON / 60),
    ("gal/hr", "L/min", GALLON / 60),
    ("gallon/min", "L/min", GALLON),
    ("gallons/min", "L/min", GALLON),
    ("gallon/minute", "L/min", GALLON),
    ("gallons/minute", "L/min", GALLON),
    ("gallon/hour", "L/min", GALLON / 60),
    ("gallons/hour", "L/min", GALLON / 60),
    ("imperial_gallon/min", "L/min", IMPERIAL_GALLON),
    ("imperial_gallon/h", "L/min", IMPERIAL_GALLON / 60),
    ("oil_barrel/min", "L/min", BARREL),
    ("oil_barrel/h", "L/min", BARREL / 60),
    ("oil_barrel/hr", "L/min", BARREL / 60),
    ("oil_barrel/d", "L/min", BARREL / 1440),
    ("oil_barrel/day", "L/min", BARREL / 1440),
    ("g/s", "kg/min", "0.06"),
    ("g/min", "kg/min", "1e-3"),
    ("kg/s", "kg/min", 60),
    ("kg/min", "kg/min", 1),
    ("kg/minute", "kg/min", 1),
    ("kg/h", "kg/min", Fraction(1, 60)),
    ("kg/hr", "kg/min", Fraction(1, 60)),
    ("kg/hour", "kg/min", Fraction(1, 60)),
    ("t/min", "kg/min", 1000),
    ("t/h", "kg/min", Fraction(1000, 60)),
    ("t/hr", "kg/min", Fraction(1000, 60)),
    ("t/hour", "kg/min", Fraction(1000, 60)),
    ("t/d", "kg/min", Fraction(1000, 1440)),
    ("t/day", "kg/min", Fraction(1000, 1440)),
    ("tonne/h", "kg/min", Fraction(1000, 60)),
    ("tonnes/h", "kg/min", Fraction(1000, 60)),
    ("tonne/hour", "kg/min", Fraction(1000, 60)),
    ("tonnes/hour", "kg/min", Fraction(1000, 60)),
    ("metric_ton/h", "kg/min", Fraction(1000, 60)),
    ("short_ton/h", "kg/min", 2000 * POUND / 60),
    ("long_ton/h", "kg/min", 2240 * POUND / 60),
    ("lb/s", "kg/min", 60 * POUND),
    ("lb/min", "kg/min", POUND),
    ("lbs/min", "kg/min", POUND),
    ("lb/h", "kg/min", POUND / 60),
    ("lbs/h", "kg/min", POUND / 60),
    ("lb/hr", "kg/min", POUND / 60),
    ("lbs/hr", "kg/min", POUND / 60),
    ("pS/m", "pS/m", 1),
    ("nS/m", "pS/m", 1000),
    ("uS/m", "pS/m", 10**6),
    ("mS/m", "pS/m", 10**9),
    ("S/m", "pS/m", 10**12),
    ("pS/cm", "pS/m", 100),
    ("nS/cm", "pS/m", 10**5),
    ("uS/cm", "pS/m", 10**8),
    ("mS/cm", "pS/m", 10**11),
    ("S/cm", "pS/m", 10**14),
    ("mho/m", "pS/m", 10**12),
    ("mho/cm", "pS/m", 10**14),
    ("nJ", "mJ", "1e-6"),
    ("uJ", "mJ", "1e-3"),
    ("mJ", "mJ", 1),
    ("J", "mJ", 1000),
    ("um", "m", "1e-6"),
    ("mm", "m", "1e-3"),
    ("cm", "m", "1e-2"),
    ("dm", "m", "0.1"),
    ("m", "m", 1),
    ("km", "m", 1000),
    ("meter", "m", 1),
    ("metre", "m", 1),
    ("meters", "m", 1),
    ("metres", "m", 1),
    ("in", "m", INCH),
    ("inch", "m", INCH),
    ("inches", "m", INCH),
    ("ft", "m", 12 * INCH),
    ("foot", "m", 12 * INCH),
    ("feet", "m", 12 * INCH),
    ("yd", "m", 36 * INCH),
    ("fF", "pF", "1e-3"),
    ("pF", "pF", 1),
    ("nF", "pF", 1000),
    ("uF", "pF", 10**6),
    ("mF", "pF", 10**9),
    ("F", "pF", 10**12),
    ("nC/m3", "uC/m3", "1e-3"),
    ("uC/m3", "uC/m3", 1),
    ("mC/m3", "uC/m3", 1000),
    ("C/m3", "uC/m3", 10**6),
    ("pC/L", "uC/m3", "1e-3"),
    ("nC/L", "uC/m3", 1),
    ("nC/l", "uC/m3", 1),
    ("uC/L", "uC/m3", 1000),
    ("uC/l", "uC/m3", 1000),
    ("nC/gal", "uC/m3", 1 / GALLON),
    ("uC/gal", "uC/m3", 1000 / GALLON),
    ("uC/ft3", "uC/m3", 1000 / CUBIC_FOOT),
    ("pC/kg", "uC/kg", "1e-6"),
    ("nC/kg", "uC/kg", "1e-3"),
    ("uC/kg", "uC/kg", 1),
    ("mC/kg", "uC/kg", 1000),
    ("C/kg", "uC/kg", 10**6),
    ("pC/g", "uC/kg", "1e-3"),
    ("nC/g", "uC/kg", 1),
    ("uC/g", "uC/kg", 1000),
    ("uC/lb", "uC/kg", 1 / POUND),
    ("C/t", "uC/kg", 1000),
]

FACTORS: Mapping[str, Row] = {unit: Row(ours, Fraction(size)) for unit, ours, size in _ROWS}
"""By the unit in the one spelling of `bondtrail.units.one_spelling`: ``m3/h``, ``uJ``, ``kohm``."""

OURS = frozenset(row.ours for row in FACTORS.values())
"""The units that we keep quantities in."""
