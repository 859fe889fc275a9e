"""Units of the site file: what to multiply a reading by so that Bondtrail can keep it."""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from bondtrail.site_tables import Role

if TYPE_CHECKING:
    import pint

Phase = Literal["liquid", "powder"]

OHM = "ohm"
LITRES = "L/min"
KILOGRAMS = "kg/min"

LONGEST = 40
_POWER = r"(?:(?:\^|\*\*)?-?[1-9]|[²³]|⁻[¹²³])?"
_TERM = rf"[^\W\d]+{_POWER}"
_UNIT = re.compile(rf"{_TERM}(?:(?:\s*[*/·]\s*|\s+){_TERM})*\Z")
_GLUED_POWER = re.compile(r"(?<=[^\W\d_])(?=-?[1-9])")
_OHM = re.compile(r"[oO][hH][mM]s?(?![^\W\d])")
_BARREL = "oil_barrel, of 42 US gallons"
_TON = "t (1000 kg), short_ton or long_ton"
_AMBIGUOUS = {"barrel": _BARREL, "barrels": _BARREL, "bbl": _BARREL, "ton": _TON, "tons": _TON}
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


class UnitError(ValueError):
    """A unit that cannot be used; ``wrong`` says why and ``right`` what would do."""

    def __init__(self, wrong: str, right: str) -> None:
        super().__init__(wrong, right)
        self.wrong = wrong
        self.right = right


def resistance_scale(unit: str | None) -> float:
    """Return what a reading in ``unit`` is multiplied by to be in ohm; no unit means ohm.

    Raises
    ------
    UnitError
        If it is no unit of resistance.
    """
    if unit is None or unit == OHM:
        return 1.0
    scale = _scale(unit, OHM, _RESISTANCE)
    if scale is None:
        raise _refused(unit, "no unit of resistance", _RESISTANCE)
    return scale


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
    right = _RATES[phase]
    by_volume, by_mass = _scale(unit, LITRES, right), _scale(unit, KILOGRAMS, right)
    if by_volume is None and by_mass is None:
        raise _refused(unit, "no rate of flow", right)
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
        raise UnitError(f"{role} has no unit, but {_shown(unit)} is given", "this key left out")
    return 1.0


@lru_cache(maxsize=256)
def _scale(text: str, target: str, right: str) -> float | None:
    """Return the factor from ``text`` to ``target``, or None if it measures something else."""
    written = _normal(text, right)
    registry = _registry()
    try:
        unit = registry.parse_units(written)
        if unit.dimensionality != registry.parse_units(target).dimensionality:
            return None
        scale = float(registry.convert(Fraction(1), unit, target))
    except Exception as exc:  # pint lets out errors of many kinds: its own, tokenize's, arithmetic
        raise _refused(text, "no known unit", right) from exc
    if not 1e-15 <= scale <= 1e15:
        raise UnitError(f"{text!r} is too large or too small to be meant", right)
    return scale


def _normal(text: str, right: str) -> str:
    """Return the unit as pint reads it, refusing what is not plainly a unit.

    pint evaluates what it is given, powers of powers of numbers too, so only names with
    one-digit powers are let through. It does not know a power written on to a name, as in
    ``m3/h``, which is how plants write it.
    """
    text = unicodedata.normalize("NFC", text[: LONGEST + 10]).strip()  # the ohm sign is an omega
    if len(text) > LONGEST or not _UNIT.match(text):
        raise _refused(text, "no known unit", right)
    for name in re.findall(r"[^\W\d]+", text):
        if name in _AMBIGUOUS:
            raise UnitError(f"{name!r} means different sizes to different people", _AMBIGUOUS[name])
    return _GLUED_POWER.sub("**", _OHM.sub("ohm", text))


def _refused(text: str, why: str, right: str) -> UnitError:
    meanings = _RESISTANCES_MEANT if right == _RESISTANCE else _RATES_MEANT
    meant = meanings.get(text.strip().lower())
    return UnitError(f"{_shown(text)} is {why}", f"did you mean {meant}?" if meant else right)


def _shown(text: str) -> str:
    return repr(text if len(text) <= LONGEST else f"{text[:LONGEST]}...")


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[Fraction]:
    """Return the registry of units, in fractions: a factor is rounded just once.

    Made on first use, since it takes a second.
    """
    import pint

    return pint.UnitRegistry(non_int_type=Fraction)
