"""Which resistance lets charge go: of an open circuit, and by the published criteria."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.core.electrostatics.bounds import Numeric, within
from analytics.core.electrostatics.spread import Spread

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
        What it is between.
    ohm : float
        At most; or below, where the document says so. [ohm, or ohm/m where ``unit`` says so]
    source : str
        Which document and edition, and how it is known.
    unit : str
        ``ohm`` or ``ohm/m``.
    """

    path: str
    ohm: float
    source: str
    unit: str = "ohm"


RESISTANCE_CRITERIA: tuple[Criterion, ...] = (
    Criterion(
        "bond or ground path of metal all through",
        10,
        "NFPA 77, API RP 2003 and IEC TS 60079-32-1, from memory: more shows corrosion or a loose"
        " joint, not that static needs 10 ohm",
    ),
    Criterion(
        "dissipation of static",
        1e6,
        "NFPA 77, API RP 2003 and IEC TS 60079-32-1, from memory",
    ),
    Criterion(
        "pipe to ground, by experiment",
        1e7,
        "NBS Journal of Research 69C (1965), abstract: up to about this, the potential of the pipe"
        " was no longer hazardous",
    ),
    Criterion(
        "isolated conductor, small currents",
        1e8,
        "IEC TS 60079-32-1, from memory: in some cases",
    ),
    Criterion("bulk bag of type C", 1e7, "IEC 61340-4-4:2012"),
    Criterion("bulk bag of type C", 1e8, "IEC 61340-4-4:2018; 2005 the same, from memory"),
    Criterion("hose, conductive", 1e3, "IEC TS 60079-32-1, from memory", "ohm/m"),
    Criterion("hose assembly of grade M", 100, "EN ISO 8031, from memory"),
    Criterion("hose, dissipative", 1e6, "IEC TS 60079-32-1, from memory", "ohm/m"),
    Criterion("hose assembly of grade Omega", 1e6, "EN ISO 8031, from memory"),
    Criterion("person or floor to earth", 1e8, "IEC TS 60079-32-1 and IEC 61340-4, from memory"),
    Criterion("footwear, conductive", 1e5, "EN ISO 20345 and 20344, from memory"),
    Criterion("footwear, antistatic", 1e9, "EN ISO 20345 and 20344, from memory; above 1e5"),
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
