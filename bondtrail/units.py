"""Units as people write them: the exact factor to a unit of ours, and nothing else evaluated."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

from bondtrail.factors import FACTORS, OURS

if TYPE_CHECKING:
    import pint

LONGEST = 40
_POWER = r"(?:(?:\^|\*\*)?-?[1-9]|[²³]|⁻[¹²³])?"
_TERM = rf"[^\W\d]+{_POWER}"
_UNIT = re.compile(rf"{_TERM}(?:(?:\s*[*/·]\s*|\s+){_TERM})*\Z")
_GLUED_POWER = re.compile(r"(?<=[^\W\d_])(?=-?[1-9])")
_OHM = re.compile(r"[oO][hH][mM]s?(?![^\W\d])")
_BLANKS = re.compile(r"\s*([*/])\s*")
_ONE_SPELLING = str.maketrans({"µ": "u", "μ": "u", "Ω": "ohm", "²": "2", "³": "3"})
_BARREL = "oil_barrel, of 42 US gallons"
_TON = "t (1000 kg), short_ton or long_ton"
_AMBIGUOUS = {"barrel": _BARREL, "barrels": _BARREL, "bbl": _BARREL, "ton": _TON, "tons": _TON}


class UnitError(ValueError):
    """A unit that cannot be used; ``wrong`` says why and ``right`` what would do."""

    def __init__(self, wrong: str, right: str) -> None:
        super().__init__(wrong, right)
        self.wrong = wrong
        self.right = right


def factor(text: str, target: str, right: str, meant: Mapping[str, str]) -> Fraction | None:
    """Return the exact factor from the unit ``text`` to ``target``; None if it measures another.

    Parameters
    ----------
    text : str
        As written: nothing that is not plainly a unit reaches pint.
    target : str
        Ours, as it is printed: ``uC/m3``.
    right : str
        What would be right, in words for a person.
    meant : mapping of str to str
        What habits of the trade that are no units stand for, by their lower case.

    Raises
    ------
    UnitError
        If it is no known unit, or one that cannot be meant.
    """
    try:
        scale = _factor(text, target)
    except UnitError:
        raise
    except Exception as exc:  # pint lets out errors of many kinds: its own, tokenize's, arithmetic
        raise refused(text, "no known unit", right, meant) from exc
    if scale is not None and not 1e-15 <= scale <= 1e15:
        raise UnitError(f"{text!r} is too large or too small to be meant", right)
    return scale


@lru_cache(maxsize=256)
def _factor(text: str, target: str) -> Fraction | None:
    unit = _plain(text)
    row = FACTORS.get(one_spelling(unit))
    if row is None or target not in OURS:
        return factor_by_pint(unit, target)
    return row.factor if row.ours == target else None


def one_spelling(unit: str) -> str:
    """Return a plain unit as the table of factors would have it: ``m³ / h`` as ``m3/h``."""
    powers = _BLANKS.sub(r"\1", unit).replace("**", "").replace("^", "")
    return powers.translate(_ONE_SPELLING)


def factor_by_pint(unit: str, target: str) -> Fraction | None:
    """Return the exact factor between two plain units; None if they measure different things.

    pint does not know a power written on to a name, as in ``m3/h``, which is how plants write it.
    """
    registry = _registry()
    source, ours = (registry.parse_units(_GLUED_POWER.sub("**", name)) for name in (unit, target))
    if source.dimensionality != ours.dimensionality:
        return None
    return Fraction(registry.convert(Fraction(1), source, ours))


def _plain(text: str) -> str:
    """Return the unit, refusing what is not plainly one.

    pint evaluates what it is given, powers of powers of numbers too, so only names with
    one-digit powers are let through.
    """
    text = unicodedata.normalize("NFC", text[: LONGEST + 10]).strip()  # the ohm sign is an omega
    if len(text) > LONGEST or not _UNIT.match(text):
        raise ValueError("no known unit")
    for name in re.findall(r"[^\W\d]+", text):
        if name in _AMBIGUOUS:
            raise UnitError(f"{name!r} means different sizes to different people", _AMBIGUOUS[name])
    return _OHM.sub("ohm", text)


def refused(text: str, why: str, right: str, meant: Mapping[str, str]) -> UnitError:
    """Return the error about a unit that cannot be used; the parameters are those of `factor`."""
    likely = meant.get(text.strip().lower())
    return UnitError(f"{shown_unit(text)} is {why}", f"did you mean {likely}?" if likely else right)


def shown_unit(text: str) -> str:
    """Return a unit as an error quotes it: short."""
    return repr(text if len(text) <= LONGEST else f"{text[:LONGEST]}...")


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[Fraction]:
    """Return the registry of units, in fractions: a factor is rounded just once.

    Made on first use, since it takes half a second.
    """
    import pint

    return pint.UnitRegistry(non_int_type=Fraction)
