"""Whether a liquid conducts little, fairly or well, by the editions that draw the lines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from analytics.core.electrostatics.bounds import number

ConductivityClass = Literal["low", "medium", "high"]


@dataclass(frozen=True, slots=True)
class Edition:
    """Where one edition draws the lines.

    Attributes
    ----------
    low_below_pS_m : float
        Below it conductivity is low; with ``per_permittivity_pS_m`` only where the permittivity
        is not known. [pS/m]
    high_above_pS_m : float
        Above it conductivity is high; on it, still medium. [pS/m]
    per_permittivity_pS_m : float or None
        Times the relative permittivity: below that, conductivity is low. [pS/m]
    source : str
        Which document, and how it is known.
    """

    low_below_pS_m: float
    high_above_pS_m: float
    per_permittivity_pS_m: float | None
    source: str


EDITIONS: Mapping[str, Edition] = MappingProxyType(
    {
        "nfpa_77": Edition(50, 1e4, None, "NFPA 77, text of 2007 to 2014"),
        "iec_60079_32_1": Edition(100, 1e4, 25, "IEC TS 60079-32-1, from memory"),
        "clc_tr_50404": Edition(50, 1e3, None, "CLC/TR 50404:2003, from memory"),
    }
)
"""By name. API RP 2003 and ISGOTT, from memory, call a liquid below 50 pS/m a static accumulator:
the first line of ``nfpa_77``."""


def conductivity_class(
    conductivity_pS_m: float,
    relative_permittivity: float | None = None,
    edition: str = "nfpa_77",
) -> ConductivityClass:
    """Return whether the conductivity of a liquid is low, medium or high.

    Parameters
    ----------
    conductivity_pS_m : float
        At rest, above 0. [pS/m]
    relative_permittivity : float or None
        1 or more, None where it is not known; only some editions ask for it. [-]
    edition : str
        A name of `EDITIONS`.

    Raises
    ------
    ValueError
        If a value is out of those bounds or no number, or there is no such edition.

    Notes
    -----
    The lines of two editions may part by twenty times: say which one was taken. Charge builds up
    in liquids of low conductivity even in bonded metal vessels, and in those of medium
    conductivity where they spray or are cut off from the metal.
    """
    if edition not in EDITIONS:
        raise ValueError(f"edition must be one of {', '.join(EDITIONS)}, got {edition!r}")
    kappa = number("conductivity_pS_m", conductivity_pS_m, "pS/m", above=0)
    if kappa < _low_below(EDITIONS[edition], relative_permittivity):
        return "low"
    return "high" if kappa > EDITIONS[edition].high_above_pS_m else "medium"


def _low_below(lines: Edition, relative_permittivity: float | None) -> float:
    if relative_permittivity is None:
        return lines.low_below_pS_m
    eps_r = number("relative_permittivity", relative_permittivity, "", at_least=1)
    each = lines.per_permittivity_pS_m
    return lines.low_below_pS_m if each is None else each * eps_r
