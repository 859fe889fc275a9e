"""The capacitance of a vessel to earth: by its kind, or by geometry."""

from __future__ import annotations

from collections.abc import Mapping
from math import pi
from types import MappingProxyType

from analytics.core.electrostatics.bounds import Numeric, within
from analytics.core.electrostatics.relaxation import VACUUM_PERMITTIVITY_F_M
from analytics.core.electrostatics.spread import Spread
from bondtrail.site import StationKind

_TABLES = "tables of IEC TS 60079-32-1 and of Crowl and Louvar, from memory"
_OURS = "our assumption: no published value is recalled with confidence"

CAPACITANCES: Mapping[StationKind, Spread] = MappingProxyType(
    {
        StationKind.DRUM: Spread(
            10, 100, 300, "pF", f"10 to 100 for 50 L, 50 to 300 for 200 to 500 L; {_TABLES}"
        ),
        StationKind.ROAD_TANKER: Spread(
            1000, 2000, 5000, "pF", f"1000 to 5000; {_TABLES}; typical is our choice"
        ),
        StationKind.RAIL_TANK_CAR: Spread(1000, 2500, 5000, "pF", f"{_OURS}; as a road tanker"),
        StationKind.IBC: Spread(50, 200, 500, "pF", f"{_OURS}; as a medium container or larger"),
        StationKind.MOBILE_VESSEL: Spread(
            50, 200, 1000, "pF", f"{_OURS}; from a medium container to a large item of plant"
        ),
        StationKind.FLEXIBLE_BULK_BAG: Spread(
            50, 150, 500, "pF", f"{_OURS}; a conductive bag, as a medium container or larger"
        ),
        StationKind.FIXED_ITEM: Spread(
            100, 300, 1000, "pF", f"a large item of plant, 100 to 1000; {_TABLES}; typical is ours"
        ),
    }
)
"""Of the vessel while nothing earths it, by kind. [pF]"""


def sphere_pF(radius_m: Numeric) -> Numeric:
    """Return the capacitance of a sphere far from everything. [pF]

    Parameters
    ----------
    radius_m : float or ndarray
        Above 0. [m]

    Returns
    -------
    float or ndarray
        ``4 pi eps_0 r``; NaN for NaN. [pF]

    Raises
    ------
    ValueError
        If a radius is out of that bound.

    Notes
    -----
    The least that a body of this size has: near the ground it is more.
    """
    return 4 * pi * VACUUM_PERMITTIVITY_F_M * 1e12 * within("radius_m", radius_m, "m", above=0)


def plates_pF(area_m2: Numeric, gap_m: Numeric, relative_permittivity: Numeric = 1.0) -> Numeric:
    """Return the capacitance of two plates close to each other. [pF]

    Parameters
    ----------
    area_m2 : float or ndarray
        Of one plate, above 0. [m2]
    gap_m : float or ndarray
        Between them, above 0. [m]
    relative_permittivity : float or ndarray
        Of what is between them, 1 or more. [-]

    Returns
    -------
    float or ndarray
        ``eps_0 eps_r A / d``, in the shape of all together; NaN for NaN. [pF]

    Raises
    ------
    ValueError
        If a value is out of those bounds.

    Notes
    -----
    The field at the rim is left out: true for a gap much smaller than the plates.
    """
    area = within("area_m2", area_m2, "m2", above=0)
    gap = within("gap_m", gap_m, "m", above=0)
    eps_r = within("relative_permittivity", relative_permittivity, "", at_least=1)
    return VACUUM_PERMITTIVITY_F_M * 1e12 * eps_r * area / gap
