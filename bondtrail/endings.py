"""Units at the end of names: a figure called ``bond_lead_s`` is in seconds."""

from __future__ import annotations

from collections.abc import Mapping

_UNITS: Mapping[str, str] = {
    "_ohm_per_day": "ohm a day",
    "_uC_m3": "uC/m3",
    "_pS_m": "pS/m",
    "_L_min": "L/min",
    "_kg_min": "kg/min",
    "_uC_kg": "uC/kg",
    "_m_s": "m/s",
    "_days": "days",
    "_ohm": "ohm",
    "_mJ": "mJ",
    "_uC": "uC",
    "_pF": "pF",
    "_kg": "kg",
    "_L": "L",
    "_V": "V",
    "_m": "m",
    "_s": "s",
}
"""Ends of names, the longer ones first, and the unit that each tells."""


def parted(name: str) -> tuple[str, str]:
    """Return a name without its unit, and the unit; nothing where the name tells none."""
    end = next((end for end in _UNITS if name.endswith(end)), "")
    return name.removesuffix(end), _UNITS.get(end, "")
