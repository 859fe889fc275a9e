"""Which resistance lets charge go: of an open circuit, and by the published criteria."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.core.electrostatics.bounds import Numeric, within
from analytics.core.electrostatics.spread import Spread
from bondtrail.site import StationKind

OPEN_LEAKAGE = Spread(
    1e5,
    1e9,
    np.inf,
    "ohm",
    "our assumption: a monitor that reads open tells no more than that it is above its range;"
    " wheels, dirt and humid air leak about 1e9 ohm, dry and clean ones not at all",
)
"""What still leads to earth where no bond does: a guess, for a site to replace by its own."""


@dataclass(frozen=True, slots=True)
class Criterion:
    """How much resistance one document allows on one path.

    Attributes
    ----------
    path : str
        What it is between, or for.
    ohm : float
        At most. [ohm]
    source : str
        Which document and edition, and how it is known.
    kind : StationKind or None
        Of the vessel that it is for; None for any.
    """

    path: str
    ohm: float
    source: str
    kind: StationKind | None = None


_ALL_THREE = "NFPA 77, API RP 2003 and IEC TS 60079-32-1, from memory"

RESISTANCE_CRITERIA: tuple[Criterion, ...] = (
    Criterion("a path of metal whose joints are sound", 10, _ALL_THREE),
    Criterion("dissipation of static", 1e6, _ALL_THREE),
    Criterion(
        "a pipe whose potential was no longer hazardous, by experiment",
        1e7,
        "NBS Journal of Research 69C, 1965, abstract",
    ),
    Criterion(
        "an isolated conductor at small currents, in some cases",
        1e8,
        "IEC TS 60079-32-1, from memory",
    ),
    Criterion("a bulk bag of type C", 1e7, "IEC 61340-4-4:2012", StationKind.FLEXIBLE_BULK_BAG),
    Criterion(
        "a bulk bag of type C",
        1e8,
        "IEC 61340-4-4:2018; 2005 too, from memory",
        StationKind.FLEXIBLE_BULK_BAG,
    ),
)
"""10 ohm and 1 Mohm are no rivals: the first tells whether metal is sound, the second what static
needs. Which of them holds at a site is for its own codes."""

TOLERATED_V = 100.0
"""The potential that the bound is drawn at in BS 5958 and IEC texts, from memory. [V]"""


def resistance_for_potential(current_A: Numeric, potential_V: Numeric = TOLERATED_V) -> Numeric:
    """Return the resistance to earth that holds a conductor at a potential. [ohm]

    Parameters
    ----------
    current_A : float or ndarray
        That charges it, 0 or more. [A]
    potential_V : float or ndarray
        Not to be exceeded, above 0. [V]

    Returns
    -------
    float or ndarray
        ``V / I``, infinite where nothing charges, in the shape of both together; NaN for NaN. [ohm]

    Raises
    ------
    ValueError
        If a value is out of those bounds, or infinite.

    Notes
    -----
    Of a steady current, once the capacitor is full. Published for 1e-11 to 1e-4 A with 100 V
    [1]_.

    References
    ----------
    .. [1] BS 5958 and IEC texts, from memory.
    """
    ampere = within("current_A", current_A, "A", at_least=0)
    volt = within("potential_V", potential_V, "V", above=0)
    with np.errstate(divide="ignore", over="ignore"):
        return volt / ampere
