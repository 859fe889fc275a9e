"""Quantities as people write them, such as ``240 uJ``: a number with its unit, in our own unit."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from bondtrail.units import UnitError, factor, refused

LONGEST = 60
_DIGITS = r"(?:[0-9]+\.?[0-9]*|\.[0-9]+)"
_EXPONENT = r"[eE][+-]?[0-9]"
_NUMBER = re.compile(rf"\s*([+-]?{_DIGITS}(?:{_EXPONENT}{{1,2}})?)(?![0-9.,]|{_EXPONENT})")


@dataclass(frozen=True, slots=True)
class Measure:
    """A kind of quantity: the unit that we keep it in, and how it is asked for.

    Attributes
    ----------
    name : str
        Such as ``a length``.
    unit : str
        Ours, as it is printed.
    example : str
        How a person may write one.
    meant : mapping of str to str
        What habits of the trade that are no units stand for, by their lower case.
    """

    name: str
    unit: str
    example: str
    meant: Mapping[str, str] = field(default_factory=dict)

    @property
    def right(self) -> str:
        """What would be right, in words for a person."""
        return f'{self.name} with its unit in quotes, such as "{self.example}"'


CONDUCTIVITY = Measure("a conductivity", "pS/m", "1e-12 S/m", {"cu": "pS/m", "ps/m": "pS/m"})
ENERGY = Measure("an energy", "mJ", "240 uJ", {"mj": "mJ", "uj": "uJ"})
LENGTH = Measure("a length", "m", "4 in", {'"': "in", "'": "ft", "in.": "in", "ft.": "ft"})
CAPACITANCE = Measure("a capacitance", "pF", "1 nF", {"pf": "pF", "nf": "nF", "uf": "uF"})
DURATION = Measure("a time", "s", "60 s", {"m": "min", "sec": "s", "secs": "s", "mins": "min"})
CHARGE_DENSITY = Measure("a charge for each volume", "uC/m3", "100 uC/m3", {"uc/m3": "uC/m3"})
CHARGE_PER_MASS = Measure("a charge for each mass", "uC/kg", "1 uC/kg", {"uc/kg": "uC/kg"})


def quantity(text: str, measure: Measure) -> float:
    """Return a quantity in the unit that we keep it in.

    Parameters
    ----------
    text : str
        A number and a unit, such as ``4 in`` or ``1e-12 S/m``; never evaluated. The number has a
        point for its decimals and at most two digits of exponent.
    measure : Measure
        What it should be a quantity of.

    Returns
    -------
    float
        The nearest to the exact value. Its sign and size are for the caller to judge. [the unit
        of the measure]

    Raises
    ------
    UnitError
        If it is no number with a unit, or measures something else.
    """
    number, unit = split(text, measure.right)
    scale = factor(unit, measure.unit, measure.right, measure.meant)
    if scale is None:
        raise refused(unit, f"no unit of {measure.name.partition(' ')[2]}", measure.right, {})
    return float(number * scale)


def split(text: str, right: str) -> tuple[Fraction, str]:
    """Return the number and the unit of a quantity; ``right`` says what would be right.

    Raises
    ------
    UnitError
        If there is not one of each.
    """
    number = _NUMBER.match(text[:LONGEST])
    if len(text) > LONGEST or number is None:
        short = text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."
        raise UnitError(f"{short!r} is no number with a unit", right)
    unit = text[number.end() :].strip()
    if not unit:
        raise UnitError(f"{text!r} has no unit", right)
    return Fraction(number[1]), unit
