"""Quantities of a site file that may stand as numbers in our unit, or as text with their own."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from annotated_types import Ge, Gt, Le
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from bondtrail.quantities import (
    CAPACITANCE,
    CHARGE_DENSITY,
    CHARGE_PER_MASS,
    CONDUCTIVITY,
    ENERGY,
    LENGTH,
    Measure,
    quantity,
    split,
)
from bondtrail.site_problems import Problems, shown
from bondtrail.site_tables import MOST_RATE, RATE, keys_of
from bondtrail.site_units import Phase, rate_factor
from bondtrail.units import UnitError

Pairs = Mapping[str, tuple[str, Measure]]
"""Each key that takes text, with the key that takes the number in its place."""

OF_PRODUCT: Pairs = {
    "conductivity": ("conductivity_pS_m", CONDUCTIVITY),
    "mie": ("mie_mJ", ENERGY),
    "charge": ("charge_uC_kg", CHARGE_PER_MASS),
}
OF_STATION: Pairs = {
    "pipe_diameter": ("pipe_diameter_m", LENGTH),
    "pipe_length": ("pipe_length_m", LENGTH),
    "filter_charge": ("filter_charge_uC_m3", CHARGE_DENSITY),
    "capacitance": ("capacitance_pF", CAPACITANCE),
}


def numbers(
    pairs: Pairs,
    written: Mapping[str, Any],
    sound: Mapping[str, Any],
    model: type[BaseModel],
    table: str,
    problems: Problems,
) -> dict[str, Any]:
    """Return the sound items of a table with each text as the number that it stands for.

    A text that does not fit is noted and left out, and so is one beside the number itself.

    Parameters
    ----------
    pairs : Pairs
        Which keys may be text.
    written, sound : mapping
        The table as written, and those of its items that fit by themselves.
    model : type of BaseModel
        The table's keys, with the bounds of the numbers.
    table : str
        How an error names it.
    problems : Problems
        Where to note them.
    """
    found = {key: value for key, value in sound.items() if key not in pairs}
    for key, (number_key, measure) in pairs.items():
        if key in written and number_key in written:
            problems.add(table, key, f"{number_key} says it too", "one of the two")
        elif (text := sound.get(key)) is not None:
            try:
                found[number_key] = _bounded(text, measure, keys_of(model)[number_key])
            except UnitError as exc:
                problems.add(table, key, exc.wrong, exc.right)
    return found


def _bounded(text: str, measure: Measure, field: FieldInfo) -> float:
    value = quantity(text, measure)
    for bound in field.metadata:
        match bound:
            case Gt() if not value > bound.gt:  # type: ignore[operator]
                raise UnitError(f"{shown(text)} is too small", f"{measure.name} above {bound.gt:g}")
            case Ge() if not value >= bound.ge:  # type: ignore[operator]
                least = f"{measure.name} of {bound.ge:g} or more"
                raise UnitError(f"{shown(text)} is too small", least)
            case Le() if not value <= bound.le:  # type: ignore[operator]
                most = f"{measure.name} up to {bound.le:g} {measure.unit}"
                raise UnitError(f"{shown(text)} is {value:g} {measure.unit}: too large", most)
    return value


def rate(text: str, phase: Phase | None) -> tuple[float, Literal["L", "kg"]]:
    """Return a rate of flow in L/min or kg/min, and which of the two it is.

    Parameters
    ----------
    text : str
        A number and a unit, such as ``800 L/min``.
    phase : {"liquid", "powder"} or None
        Of the station's product: a liquid is measured by volume, a powder by mass. None where
        no product is named; the unit alone decides then.

    Raises
    ------
    UnitError
        If it is no rate above 0, or not the kind of rate that the phase asks for.
    """
    number, unit = split(text, RATE)
    scale, adds_up_to = rate_factor(unit, phase)
    value = float(number * scale)
    if not 0 < value <= MOST_RATE:
        size = "small" if value <= 0 else "large"
        raise UnitError(f"{shown(text)} is too {size}", f"{RATE}, above 0")
    return value, adds_up_to
